package outbox

import (
	"fmt"
	"strings"
)

// Letter is what a message says, as data: whoever sends it draws the text part
// and the HTML part from the same words.
type Letter struct {
	Subject string   `json:"subject"`
	Says    []string `json:"says"`            // paragraphs, a sentence or two each
	Facts   []Fact   `json:"facts,omitempty"` // below them, a row each
	Link    *Link    `json:"link,omitempty"`  // where to go on
	Exact   string   `json:"exact,omitempty"` // lines that are kept to the letter, such as a signed text
	Ends    []string `json:"ends,omitempty"`  // paragraphs after the facts: how to answer, whom to ring
}

// Fact is one row of a letter.
type Fact struct {
	Name string `json:"name"`
	Is   string `json:"is"`
}

// Link is an address with words.
type Link struct {
	Words   string `json:"words"`
	Address string `json:"address"`
}

// check refuses a letter that says nothing.
func (l Letter) check() error {
	switch {
	case strings.TrimSpace(l.Subject) == "" || strings.ContainsAny(l.Subject, "\r\n"):
		return fmt.Errorf("a message needs a subject of one line, not %q", l.Subject)
	case len(l.Says) == 0:
		return fmt.Errorf("the message %q says nothing", l.Subject)
	}
	return nil
}
