package main

import (
	"bufio"
	"context"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

type recordVerb struct {
	Job  string `help:"Only the entries of this job, with the proof that each is in the log." placeholder:"REF"`
	Day  string `help:"Of that job only what is of this day, and what is of no one day." placeholder:"DATE"`
	Out  string `help:"Write to this file, which must not be there yet; without it to standard output." placeholder:"FILE"`
	Head bool   `help:"Sign the log if it grew, and print only the newest signed head: what is worth keeping elsewhere."`
	Keys bool   `help:"Print only the firm's public keys."`
	Firm string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
}

// Run writes the firm's record as an open file that 'toeboard verify' proves.
func (v recordVerb) Run(ctx context.Context, s *Settings) error {
	scope, err := v.scope()
	if err != nil {
		return err
	}
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(s.logger(os.Stderr), db)
	store, firm, err := s.recordOf(ctx, db, v.Firm)
	if err != nil {
		return err
	}
	switch {
	case v.Head:
		head, err := store.SignHead(ctx, firm, now())
		if err != nil {
			return err
		}
		_, err = fmt.Print(head.Text)
		return err
	case v.Keys:
		if _, err := store.SignHead(ctx, firm, now()); err != nil { // which makes the first key
			return err
		}
		keys, err := store.PublicKeys(ctx, firm)
		if err != nil {
			return err
		}
		_, err = fmt.Println(strings.Join(keys, "\n"))
		return err
	}
	return v.write(ctx, store, firm, scope)
}

func (v recordVerb) scope() (safety.RecordScope, error) {
	scope := safety.RecordScope{JobRef: v.Job, Day: civil.NoDate}
	if v.Day == "" {
		return scope, nil
	}
	if v.Job == "" {
		return scope, fault.Bad("--day", v.Day, "a day of one job: give --job too")
	}
	var err error
	scope.Day, err = civil.Parse(v.Day)
	return scope, err
}

func (v recordVerb) write(ctx context.Context, store *safety.Store, firm uuid.UUID, scope safety.RecordScope) error {
	file := os.Stdout
	if v.Out != "" {
		var err error
		file, err = os.OpenFile(v.Out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if errors.Is(err, os.ErrExist) {
			return fault.Bad("--out", v.Out, "a file that is not there yet: nothing is written over")
		}
		if err != nil {
			return err
		}
	}
	out := bufio.NewWriter(file)
	_, err := store.SignHead(ctx, firm, now())
	if err == nil {
		err = store.ExportRecord(ctx, firm, scope, now(), out)
	}
	if err == nil {
		err = out.Flush()
	}
	if v.Out != "" {
		err = errors.Join(err, file.Close())
		if err != nil {
			os.Remove(v.Out) // half a record is none
		}
	}
	return err
}

// recordOf opens the store of records for the firm that a command is for.
func (s *Settings) recordOf(ctx context.Context, db *database, named string) (*safety.Store, uuid.UUID, error) {
	firm, err := whichFirm(ctx, schedule.NewStore(db.pool, newID), named)
	if err != nil {
		return nil, uuid.Nil, err
	}
	store := safety.NewStore(db.pool, newID)
	return store, firm, s.keysOutside(store)
}

// keysOutside has the store derive its keys from the secret in the file that
// the setting names, if it names one.
func (s *Settings) keysOutside(store *safety.Store) error {
	if s.RecordKey == "" {
		return nil
	}
	text, err := os.ReadFile(s.RecordKey)
	if err != nil {
		return fmt.Errorf("read the record key: %w", err)
	}
	word := strings.TrimSpace(string(text))
	secret, err := hex.DecodeString(word)
	if err != nil {
		secret, err = base64.StdEncoding.DecodeString(word)
	}
	if err != nil {
		return fault.Bad("record key", s.RecordKey, "a file with a secret of at least 32 random bytes in hexadecimal or base64, as 'openssl rand -hex 32' writes it")
	}
	return store.KeepKeysOutside(secret)
}
