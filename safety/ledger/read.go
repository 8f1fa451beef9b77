package ledger

import (
	"bytes"
	"fmt"

	"github.com/go-json-experiment/json"
)

// How the lines of an export begin: the form is canonical, so these bytes and no
// others stand there.
const (
	exportStart = `{"export":`
	headStart   = `{"head":`
	entryStart  = `{"entry":`
	valueStart  = `{"beside":`
	endStart    = `{"end":`
	leafStart   = `,"leaf":"`
	proofStart  = `,"proof":["`
)

// readLine reads a line into v, and refuses one that is not written in the one
// form it has: then no byte of it can be changed without its being seen.
func readLine(line []byte, v any) error {
	if err := json.Unmarshal(line, v, json.RejectUnknownMembers(true)); err != nil {
		return err
	}
	again, err := json.Marshal(v)
	if err == nil {
		again, err = Canonical(again)
	}
	if err != nil {
		return err
	}
	if !bytes.Equal(again, line) {
		return fmt.Errorf("it is not written in the form of RFC 8785")
	}
	return nil
}

// splitEntry takes an entry's line apart without reading the entry, whose bytes
// are what is hashed. What follows the entry holds no text, so the last "leaf"
// of the line is the one that is meant.
func splitEntry(line []byte) (entry []byte, leaf Hash, proof []Hash, ok bool) {
	rest, ok := bytes.CutPrefix(line, []byte(entryStart))
	at := bytes.LastIndex(rest, []byte(leafStart))
	if !ok || at < 0 {
		return nil, leaf, nil, false
	}
	entry, rest = rest[:at], rest[at+len(leafStart):]
	if len(rest) < 66 || rest[64] != '"' {
		return nil, leaf, nil, false
	}
	if leaf, ok = parseHash(rest[:64]); !ok {
		return nil, leaf, nil, false
	}
	rest = rest[65:]
	if bytes.Equal(rest, []byte("}")) {
		return entry, leaf, nil, true
	}
	rest, ok = bytes.CutPrefix(rest, []byte(proofStart))
	if !ok {
		return nil, leaf, nil, false
	}
	for {
		if len(rest) < 67 {
			return nil, leaf, nil, false
		}
		h, good := parseHash(rest[:64])
		if !good {
			return nil, leaf, nil, false
		}
		proof = append(proof, h)
		switch rest = rest[64:]; {
		case bytes.Equal(rest, []byte(`"]}`)):
			return entry, leaf, proof, true
		case bytes.HasPrefix(rest, []byte(`","`)):
			rest = rest[3:]
		default:
			return nil, leaf, nil, false
		}
	}
}
