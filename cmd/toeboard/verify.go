package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"toeboard/safety/ledger"
	"toeboard/weather/fault"
)

type verifyVerb struct {
	Export   string   `arg:"" optional:"" help:"A file that 'toeboard record' or the page /record wrote; - is standard input." placeholder:"EXPORT"`
	Key      []string `help:"The firm's public key, or a file with it, got by another way than the export." sep:"none" placeholder:"KEY"`
	Head     []string `help:"A file with a signed head that was kept elsewhere, such as one that was mailed." sep:"none" type:"existingfile" placeholder:"FILE"`
	Database bool     `help:"Hold every stored record of the firm against the log in the database, instead of an export."`
	Firm     string   `help:"With --database: the firm's identifier; not needed when there is only one." placeholder:"ID"`
}

// notProven is the end of a check that found something: exit status 3, so that a
// script can tell it from a check that could not be made.
type notProven struct{ faults int64 }

func (e notProven) Error() string {
	if e.faults == 1 {
		return "NOT proven: 1 thing is wrong"
	}
	return fmt.Sprintf("NOT proven: %d things are wrong", e.faults)
}

// ExitStatus is the program's exit status for this error.
func (notProven) ExitStatus() int { return 3 }

// Run proves an export with nothing but the file, or the database against its
// log. Exit status: 0 proven, 3 not proven, 1 it could not be checked.
func (v verifyVerb) Run(ctx context.Context, s *Settings) error {
	if (v.Export == "") == !v.Database {
		return fault.Bad("EXPORT", v.Export, "a file to prove, or --database, and not both")
	}
	trust, err := v.trust()
	if err != nil {
		return err
	}
	var report ledger.Report
	if v.Database {
		report, err = v.database(ctx, s, trust)
	} else {
		report, err = v.file(trust)
	}
	if err != nil {
		return err
	}
	return say(os.Stdout, report)
}

func (v verifyVerb) trust() (t ledger.Trust, err error) {
	for _, k := range v.Key {
		if text, err := os.ReadFile(k); err == nil {
			k = string(text)
		}
		t.Keys = append(t.Keys, strings.Fields(k)...)
	}
	if _, err := ledger.ParseKeys(t.Keys...); err != nil {
		return t, err
	}
	for _, name := range v.Head {
		text, err := os.ReadFile(name)
		if err != nil {
			return t, err
		}
		t.Heads = append(t.Heads, string(text))
	}
	return t, nil
}

func (v verifyVerb) file(trust ledger.Trust) (ledger.Report, error) {
	in := io.Reader(os.Stdin)
	if v.Export != "-" {
		file, err := os.Open(v.Export)
		if err != nil {
			return ledger.Report{}, err
		}
		defer file.Close()
		in = file
	}
	return ledger.Verify(in, trust)
}

func (v verifyVerb) database(ctx context.Context, s *Settings, trust ledger.Trust) (ledger.Report, error) {
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return ledger.Report{}, err
	}
	defer closeAll(s.logger(os.Stderr), db)
	store, firm, err := s.recordOf(ctx, db, v.Firm)
	if err != nil {
		return ledger.Report{}, err
	}
	return store.CheckRecord(ctx, firm, trust, now())
}

// say tells a person what was found.
func say(w io.Writer, r ledger.Report) error {
	for _, f := range r.Faults {
		fmt.Fprintln(w, f.Sentence())
	}
	if r.More > 0 {
		fmt.Fprintf(w, "and %d more.\n", r.More)
	}
	if !r.Proven() {
		return notProven{int64(len(r.Faults)) + r.More}
	}
	fmt.Fprintln(w, r.Sentence())
	return nil
}
