package schedule

import (
	"encoding/json"
	"fmt"
)

// replayJSON is what a plan's version keeps of the futures: what it comes to,
// and what it was chosen from.
type replayJSON struct {
	Replay *Replayed `json:"replay,omitempty"`
	Choice *Choice   `json:"choice,omitempty"`
}

// replayColumn is NULL for a plan that was neither replayed nor chosen.
func replayColumn(p Plan) ([]byte, error) {
	if p.Replay == nil && p.Choice == nil {
		return nil, nil
	}
	b, err := json.Marshal(replayJSON{p.Replay, p.Choice})
	if err != nil {
		return nil, fmt.Errorf("write what the plan was replayed to: %w", err)
	}
	return b, nil
}

func readReplay(p *Plan, column []byte) error {
	if column == nil {
		return nil
	}
	var r replayJSON
	if err := json.Unmarshal(column, &r); err != nil {
		return fmt.Errorf("read what plan %d was replayed to: %w", p.Version, err)
	}
	p.Replay, p.Choice = r.Replay, r.Choice
	return nil
}
