package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"toeboard/api"
	"toeboard/schedule/imip"
)

type mailInVerb struct {
	Path string `arg:"" optional:"" help:"A mailbox file (mbox) or a Maildir folder; without it, or as -, one mail from standard input, as a mail server pipes it."`
}

// Help says how to connect it.
func (mailInVerb) Help() string {
	return `Reads the answers of scaffold firms: accepting the invitation in a calendar confirms the booking, declining refuses its day, proposing another day offers it. Reports of mail that could not be delivered mark the message on /messages.

A mail server can pipe each mail for answers+...@firm.example into 'toeboard mail-in'; the status is 75 when the database cannot be asked, so that the mail server tries again. A Maildir's new mails are moved to cur when they are dealt with; a mailbox file is read and left as it is. The same mail twice counts once.`
}

// tempFail tells a mail server to try again (sysexits.h).
const tempFail = 75

// Run reads the mail and prints a sentence for each.
func (v mailInVerb) Run(ctx context.Context, s *Settings) error {
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return errTryAgain{err}
	}
	log := s.logger(os.Stderr)
	defer closeAll(log, db)
	r, err := wire(db, now, s.PublicURL, log, s.skies)
	if err != nil {
		return err
	}
	in := mailIn{service: r.service, out: os.Stdout}
	if v.Path == "" || v.Path == "-" {
		return in.one(ctx, os.Stdin)
	}
	info, err := os.Stat(v.Path)
	if err != nil {
		return fmt.Errorf("read the mailbox: %w", err)
	}
	if info.IsDir() {
		return in.maildir(ctx, v.Path)
	}
	return in.mbox(ctx, v.Path)
}

// errTryAgain ends the program with the status by which a mail server keeps the
// mail.
type errTryAgain struct{ error }

func (e errTryAgain) Unwrap() error { return e.error }

// ExitStatus is EX_TEMPFAIL.
func (e errTryAgain) ExitStatus() int { return tempFail }

type mailIn struct {
	service *api.Service
	out     io.Writer
}

func (m mailIn) one(ctx context.Context, r io.Reader) error {
	raw, err := io.ReadAll(io.LimitReader(r, imip.MaxBytes+1))
	if err != nil {
		return errTryAgain{fmt.Errorf("read a mail: %w", err)}
	}
	taken, err := m.service.MailIn(ctx, raw)
	if err != nil {
		return errTryAgain{err}
	}
	_, err = fmt.Fprintln(m.out, taken.Says)
	return err
}

func (m mailIn) mbox(ctx context.Context, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("read the mailbox: %w", err)
	}
	defer f.Close()
	return eachMail(f, func(mail []byte) error { return m.one(ctx, bytes.NewReader(mail)) })
}

// eachMail takes a mailbox apart (RFC 4155: each mail follows a line that begins
// with "From "; inside a mail such a line has a > before it). No library for it
// can be had. Of a mail that is too long only so much is kept that it is refused.
func eachMail(r io.Reader, do func(mail []byte) error) error {
	lines := bufio.NewReader(r)
	var mail bytes.Buffer
	inside, blank := false, true
	for {
		line, err := lines.ReadSlice('\n')
		if len(line) > 0 {
			switch {
			case blank && bytes.HasPrefix(line, []byte("From ")):
				if inside {
					if err := do(mail.Bytes()); err != nil {
						return err
					}
				}
				mail.Reset()
				inside = true
			case mail.Len() <= imip.MaxBytes:
				mail.Write(unescaped(line))
			}
			blank = len(bytes.TrimRight(line, "\r\n")) == 0
		}
		switch {
		case err == io.EOF && inside:
			return do(mail.Bytes())
		case err == io.EOF:
			return errors.New("this is no mailbox file: no line begins with \"From \"")
		case err != nil && !errors.Is(err, bufio.ErrBufferFull):
			return fmt.Errorf("read the mailbox: %w", err)
		}
	}
}

// unescaped takes one > from a line such as ">From ".
func unescaped(line []byte) []byte {
	if rest := bytes.TrimLeft(line, ">"); len(rest) < len(line) && bytes.HasPrefix(rest, []byte("From ")) {
		return line[1:]
	}
	return line
}

// maildir reads what is new and moves it to what was seen.
func (m mailIn) maildir(ctx context.Context, dir string) error {
	entries, err := os.ReadDir(filepath.Join(dir, "new"))
	if err != nil {
		return fmt.Errorf("read the Maildir: %w", err)
	}
	for _, e := range entries {
		if e.IsDir() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		at := filepath.Join(dir, "new", e.Name())
		f, err := os.Open(at)
		if err != nil {
			return fmt.Errorf("read the Maildir: %w", err)
		}
		err = m.one(ctx, f)
		f.Close()
		if err != nil {
			return err
		}
		if err := os.Rename(at, filepath.Join(dir, "cur", e.Name()+":2,S")); err != nil {
			return fmt.Errorf("move a mail that was dealt with: %w", err)
		}
	}
	return nil
}
