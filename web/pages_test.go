package web

import (
	"bytes"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/jba/templatecheck"
)

// parsed is shared by all tests, as the service shares one between requests.
var parsed = sync.OnceValues(New)

func renderer(t *testing.T) *Renderer {
	t.Helper()
	r, err := parsed()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestTemplatesFitTheirPages(t *testing.T) {
	r, err := New() // not the shared one: the checker cannot read templates that were used
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range []Page{SignIn{}, Problem{}, RecordPage{}, RecordEntry{}, RecordPaper{}, Import{}, Week{}, Proposal{}, Run{}, Jobs{}, JobPage{}, Morning{}, Mornings{}, ScaffoldPage{}, Explained{}, WhatIf{}, Offers{}, Rates{}, Limits{}, WeatherRecord{}, AssessmentPage{}, AssessmentChanges{}, Sums{}, ScaffoldFile{}, Hazards{}, Pins{}, MessagesPage{}, BookingsPage{}, People{}, JobRecords{}, DueList{}, OwnRules{}, Calendar{}, LinksPage{}} {
		seen[p.template()] = true
		set := r.sets[p.template()]
		if set == nil {
			t.Fatalf("no templates for %T", p)
		}
		if err := templatecheck.CheckHTML(set, p); err != nil {
			t.Errorf("%T: %v", p, err)
		}
	}
	for name := range r.sets {
		if !seen[name] {
			t.Errorf("templates/pages/%s.html belongs to no page", name)
		}
	}
}

// TestSamples writes every sample page with its style sheet and scripts, for
// looking at: WEB_SAMPLES_DIR=/tmp/samples go test ./web -run TestSamples
func TestSamples(t *testing.T) {
	dir := os.Getenv("WEB_SAMPLES_DIR")
	if dir == "" {
		dir = t.TempDir()
	}
	if err := os.CopyFS(filepath.Join(dir, "static"), Static()); err != nil && !os.IsExist(err) {
		t.Log(err)
	}
	r := renderer(t)
	for kind, pages := range map[string]map[string]Page{"": samples(), "empty-": empties()} {
		for name, page := range pages {
			var b bytes.Buffer
			if err := r.Render(&b, page); err != nil {
				t.Error(err)
				continue
			}
			body := bytes.ReplaceAll(b.Bytes(), []byte(`"/static/`), []byte(`"static/`))
			if err := os.WriteFile(filepath.Join(dir, kind+name+".html"), body, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
