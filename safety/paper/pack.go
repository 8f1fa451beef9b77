// Package paper puts what is kept of one crew's morning at one job on paper: a
// PDF that is printed in black and white and lies in the van, and the same as
// open JSON. It takes data and gives bytes; the same data give the same bytes.
package paper

import (
	"encoding/json"
	"fmt"
	"time"

	"toeboard/safety"
)

// Form names the JSON of a pack.
const Form = "toeboard-pack-1"

// Pack is everything that goes on one day's papers of one crew at one job.
type Pack struct {
	Form     string          `json:"form"`
	Firm     string          `json:"firm"`
	Kept     bool            `json:"kept"`       // whether the decision is a kept record; else it is only how things stand at Decision.At
	Verify   string          `json:"verify_at"`  // the address at which this service tells whether the paper is what was kept; "" when it is not kept
	Hash     safety.Hash     `json:"facts_hash"` // SHA-256 of the snapshot's canonical bytes, as the decision's record and the log hold it
	Decision safety.Decision `json:"decision"`
	Facts    safety.Snapshot `json:"snapshot"`
}

// New makes the pack of a decision and the snapshot it was made on. verify is the
// address at which it can be verified; "" when the decision is no kept record.
func New(firm string, s safety.Snapshot, d safety.Decision, verify string) Pack {
	return Pack{Form: Form, Firm: firm, Kept: verify != "", Verify: verify, Hash: s.Hash(), Decision: d, Facts: s}
}

// JSON writes the pack as open JSON.
func (p Pack) JSON() ([]byte, error) {
	text, err := json.MarshalIndent(p, "", " ")
	if err != nil {
		return nil, fmt.Errorf("write the pack: %w", err)
	}
	return append(text, '\n'), nil
}

// FileName is what the file of a pack is called, without its ending.
func (p Pack) FileName() string {
	return "pack-" + plain(p.Facts.JobRef) + "-" + p.Facts.Day.String() + "-" + plain(p.Facts.CrewName)
}

// plain keeps the letters that every file system and header takes.
func plain(s string) string {
	out := []byte(s)
	for i, c := range out {
		if (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9') {
			out[i] = '-'
		}
	}
	return string(out)
}

func (p Pack) loc() *time.Location {
	if p.Facts.Location == nil {
		return time.UTC
	}
	return p.Facts.Location
}

// at writes an instant as the clock on the firm's wall shows it, with the year.
func (p Pack) at(t time.Time) string {
	if t.IsZero() {
		return "not known"
	}
	return t.In(p.loc()).Format("Mon 2 Jan 2006 15:04")
}
