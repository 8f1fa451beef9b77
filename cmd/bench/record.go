package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"toeboard/safety/ledger"
)

type recordVerb struct {
	Entries int64  `help:"Entries of the invented log." default:"1000000"`
	Nights  int64  `help:"Signed heads, one a night." default:"365"`
	Keep    string `help:"Write the export here and leave it." placeholder:"FILE"`
	JSON    bool   `name:"json" help:"One object on one line."`
}

// recordResult is what one run measured.
type recordResult struct {
	Entries          int64   `json:"entries"`
	Heads            int     `json:"heads"`
	Megabytes        float64 `json:"megabytes"`
	VerifySeconds    float64 `json:"verify_seconds"`
	EntriesPerSecond float64 `json:"entries_per_second"`
	NsPerEntry       float64 `json:"ns_per_entry"`
	Faults           int     `json:"faults"`
}

// Run writes the export of an invented log and measures how long it takes to
// prove it: from the file, with nothing else.
func (v recordVerb) Run(o out) error {
	if v.Entries < 1 || v.Nights < 1 {
		return fmt.Errorf("--entries and --nights are at least 1")
	}
	name := v.Keep
	if name == "" {
		dir, err := os.MkdirTemp("", "toeboard-bench-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		name = filepath.Join(dir, "record.jsonl")
	}
	key, err := v.write(name)
	if err != nil {
		return err
	}
	file, err := os.Open(name)
	if err != nil {
		return err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return err
	}
	began := time.Now()
	report, err := ledger.Verify(file, ledger.Trust{Keys: []string{key}})
	took := time.Since(began)
	if err != nil {
		return err
	}
	if !report.Proven() || report.Entries != v.Entries {
		return fmt.Errorf("the export that was just written is not proven: %d entries, %v", report.Entries, report.Faults)
	}
	r := recordResult{Entries: report.Entries, Heads: len(report.Heads), Megabytes: float64(info.Size()) / 1e6, VerifySeconds: took.Seconds(),
		EntriesPerSecond: float64(report.Entries) / took.Seconds(), NsPerEntry: float64(took.Nanoseconds()) / float64(report.Entries)}
	if v.JSON {
		return o.line(r)
	}
	return o.table([]string{"entries", "heads", "MB", "verified in", "entries/s", "ns/entry"}, [][]string{{
		fmt.Sprint(r.Entries), fmt.Sprint(r.Heads), fmt.Sprintf("%.1f", r.Megabytes), fmt.Sprintf("%.2f s", r.VerifySeconds),
		fmt.Sprintf("%.0f", r.EntriesPerSecond), fmt.Sprintf("%.0f", r.NsPerEntry)}})
}

// write writes the export of an invented log of signatures, and gives the key.
func (v recordVerb) write(name string) (string, error) {
	const firm = "0192f0aa-0000-7000-8000-000000000001"
	key, err := ledger.NewKey(ledger.Origin(firm), []byte("a seed of the bench, 32 bytes it"))
	if err != nil {
		return "", err
	}
	file, err := os.Create(name)
	if err != nil {
		return "", err
	}
	defer file.Close()
	begun := time.Date(2026, 1, 1, 2, 11, 0, 0, time.UTC)
	var heads []string
	var tree ledger.Tree
	each := max(1, v.Entries/v.Nights)
	for i := int64(0); i < v.Entries; i++ { // the heads come first in the file, so the log is walked twice
		text, err := entryOf(firm, i)
		if err != nil {
			return "", err
		}
		tree.Add(ledger.LeafHash(text))
		if (i+1)%each == 0 || i+1 == v.Entries {
			head, err := key.SignHead(ledger.Head{Origin: ledger.Origin(firm), Size: i + 1, Root: tree.Root(), At: begun.AddDate(0, 0, len(heads))})
			if err != nil {
				return "", err
			}
			heads = append(heads, head)
		}
	}
	w := ledger.NewWriter(file, key, ledger.About{Entries: v.Entries, Firm: firm, FirmName: "Quillmere Solar", Keys: []string{key.Public()}, MadeAt: begun, Size: v.Entries, Whole: true})
	for _, h := range heads {
		w.Head(h, nil)
	}
	for i := int64(0); i < v.Entries; i++ {
		text, err := entryOf(firm, i)
		if err != nil {
			return "", err
		}
		w.Entry(text, ledger.LeafHash(text), nil)
	}
	return key.Public(), w.End()
}

// entryOf invents the n-th signature, as long as a real one.
func entryOf(firm string, n int64) ([]byte, error) {
	id := fmt.Sprintf("0192f0aa-0000-7000-8000-%012d", n)
	e := ledger.Entry{Firm: firm, Kind: "sign_off", Key: id, Job: id, JobRef: fmt.Sprintf("Q-%d", n/40), Day: "2026-11-30", Seq: n,
		Salt: fmt.Sprintf("%032x", n), People: map[string]string{id: "Dana Quill"}}
	e.Record = fmt.Appendf(nil, `{"body_hash":"\\x%s","person_id":"%s","statement":"%s","typed_name":"Dana Quill"}`,
		strings.Repeat("a7", 32), id, strings.Repeat("I have read it and will keep to it. ", 12))
	return e.Bytes()
}
