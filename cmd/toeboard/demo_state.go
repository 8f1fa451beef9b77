package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// demoState is what the demo remembers between starts of one day, beside its
// private database: where its clock stands and the secrets it printed.
type demoState struct {
	Firm     uuid.UUID     `json:"firm"`
	Ahead    time.Duration `json:"ahead"` // of the demo's clock before the real one
	Sky      uint64        `json:"sky"`   // seed of the composed forecast
	Password string        `json:"password"`
	PINs     []demoPIN     `json:"pins"`
	Links    []demoLink    `json:"links"`
	Day      civil.Date    `json:"day"`    // the morning it was loaded for
	Loaded   bool          `json:"loaded"` // everything below the firm is in the database
}

// demoLink is the token of one scaffold firm's private addresses.
type demoLink struct {
	ScaffoldFirm string `json:"scaffold_firm"`
	Token        string `json:"token"`
}

// demoPIN is the PIN with which one person signs.
type demoPIN struct {
	Name string `json:"name"`
	PIN  string `json:"pin"`
}

// pinOf gives a person's PIN, and makes one for somebody new: four digits of
// which no two neighbours are alike or in a row, so that it is one that anybody
// may set.
func (st *demoState) pinOf(name string) string {
	for _, p := range st.PINs {
		if p.Name == name {
			return p.PIN
		}
	}
	pin := []byte{byte('1' + len(st.PINs)%9)}
	for i := 1; i < 4; i++ {
		pin = append(pin, '0'+(pin[i-1]-'0'+byte(3+(len(st.PINs)+2*i)%5))%10)
	}
	st.PINs = append(st.PINs, demoPIN{name, string(pin)})
	return string(pin)
}

// readDemoState reads the state; a missing file is an empty state.
func readDemoState(path string) (demoState, error) {
	var st demoState
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return st, nil
	}
	if err != nil {
		return st, fmt.Errorf("read what the demo remembers: %w", err)
	}
	if err := json.Unmarshal(b, &st); err != nil {
		return st, fmt.Errorf("%s is damaged: remove it, and the demo starts afresh: %w", path, err)
	}
	return st, nil
}

// write puts the state on disk as a whole or not at all; only its owner can
// read it, since it holds sign-ins.
func (st demoState) write(path string) error {
	b, err := json.MarshalIndent(st, "", "  ")
	if err != nil {
		return err
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".demo-*")
	if err != nil {
		return fmt.Errorf("keep what the demo remembers: %w", err)
	}
	defer os.Remove(tmp.Name())
	if _, err = tmp.Write(b); err == nil {
		err = tmp.Sync()
	}
	if closed := tmp.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(tmp.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("keep what the demo remembers: %w", err)
	}
	return nil
}
