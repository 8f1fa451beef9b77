package web

import (
	"bytes"
	"fmt"
	"html/template"
	"strings"
)

// Letter is one thing that a mail says. The text part and the HTML part are
// drawn from the same words.
type Letter struct {
	Title  string
	Says   []string // paragraphs
	Before []string // what an older message would have said that this one overtook
	Facts  []LetterFact
	Link   Link   // Href "" = none
	Exact  string // lines that are kept to the letter; "" = none
	Ends   []string
}

// LetterFact is one row of a letter.
type LetterFact struct{ Name, Is string }

var letterPage = template.Must(template.ParseFS(files, "templates/mail/letter.html"))

// Letters writes letters as one mail: its text and its HTML. from is the firm
// that writes. Mail programs fetch nothing for it: no pictures, no style sheet,
// no script.
func (r *Renderer) Letters(from string, letters []Letter) (text, html string, err error) {
	var b bytes.Buffer
	if err := letterPage.ExecuteTemplate(&b, "letter.html", struct {
		From    string
		Letters []Letter
	}{from, letters}); err != nil {
		return "", "", fmt.Errorf("writing a mail: %w", err)
	}
	var t strings.Builder
	for i, l := range letters {
		if len(letters) > 1 {
			if i > 0 {
				t.WriteString("\n")
			}
			t.WriteString(l.Title + "\n\n")
		}
		l.text(&t)
	}
	t.WriteString("\n" + from + "\n")
	return t.String(), b.String(), nil
}

func (l Letter) text(t *strings.Builder) {
	for _, p := range l.Says {
		t.WriteString(p + "\n\n")
	}
	if len(l.Before) > 0 {
		t.WriteString("What changed before that and was not sent:\n")
		for _, p := range l.Before {
			t.WriteString("- " + p + "\n")
		}
		t.WriteString("\n")
	}
	for _, f := range l.Facts {
		t.WriteString(f.Name + ": " + f.Is + "\n")
	}
	if len(l.Facts) > 0 {
		t.WriteString("\n")
	}
	if l.Link.Href != "" {
		t.WriteString(l.Link.Words + ": " + l.Link.Href + "\n\n")
	}
	if l.Exact != "" {
		t.WriteString(strings.TrimSuffix(l.Exact, "\n") + "\n\n")
	}
	for _, p := range l.Ends {
		t.WriteString(p + "\n\n")
	}
}
