package safety

import (
	"encoding/csv"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The firm of these tests sees severity and acceptance its own way: from 10 on it
// does not start.
func strictMatrix() Matrix {
	m := DefaultMatrix()
	m.Likelihood, m.Severity = slices.Clone(m.Likelihood), slices.Clone(m.Severity)
	m.Likelihood[2] = Step{Step: 3, Word: "now and then", Meaning: "once a year in this firm"}
	m.Bands = []Band{{From: 1, To: 3, Word: "accepted", Action: "go on"}, {From: 4, To: 9, Word: "watched", Action: "the lead watches"},
		{From: 10, To: 25, Word: "refused", Action: "plan it another way", Stops: true}}
	return m
}

// A matrix by which nobody could tell what a score means is refused, and each
// fault names its row.
func TestAMatrixThatTellsNothingIsRefused(t *testing.T) {
	t.Parallel()
	if err := errors.Join(strictMatrix().check()...); err != nil {
		t.Fatalf("a sound one: %v", err)
	}
	for want, spoil := range map[string]func(*Matrix){
		"likelihood is \"4\"":             func(m *Matrix) { m.Likelihood = m.Likelihood[:4] },
		"severity 2 is \"3\"":             func(m *Matrix) { m.Severity[1].Step = 3 },
		"severity 4 is \" \"":             func(m *Matrix) { m.Severity[3].Word = " " },
		"likelihood 5 is \"LIKELY\"":      func(m *Matrix) { m.Likelihood[4].Word = "LIKELY" },
		"likelihood 3 meaning":            func(m *Matrix) { m.Likelihood[2].Meaning = "" },
		"severity 1 meaning":              func(m *Matrix) { m.Severity[0].Meaning = strings.Repeat("x", 201) },
		"2 to 6 bands":                    func(m *Matrix) { m.Bands = m.Bands[2:] },
		"a band from 1 on":                func(m *Matrix) { m.Bands[0].From = 2 },
		"a band from 4 on":                func(m *Matrix) { m.Bands[1].From = 5 },
		"band 2 is \"4 to 3\"":            func(m *Matrix) { m.Bands[1].To = 3 },
		"the highest band ends at 25":     func(m *Matrix) { m.Bands[2].To = 24 },
		"the highest band stops the work": func(m *Matrix) { m.Bands[2].Stops = false },
		"as the one below it does":        func(m *Matrix) { m.Bands[1].Stops, m.Bands[2].Stops = true, false },
		"the lowest band lets":            func(m *Matrix) { m.Bands[0].Stops, m.Bands[1].Stops = true, true },
		"a word that no other band has":   func(m *Matrix) { m.Bands[1].Word = "Accepted" },
		"what is done about such a risk":  func(m *Matrix) { m.Bands[0].Action = "" },
	} {
		m := strictMatrix()
		spoil(&m)
		f := FirmHazards{Version: 1, Matrix: &m}
		if err := f.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
	}
}

// Two published 5 x 5 schemes (testdata/safety/risk_bands.csv, A and B; the file
// says what was seen and what is from memory) can be set by a firm, and each of the
// 25 scores then has the band that the scheme gives it. The ranges that the service
// comes with are those of scheme B, its two highest put together.
func TestPublishedSchemesFitTheMatrix(t *testing.T) {
	t.Parallel()
	file, err := os.Open(filepath.Join("..", "testdata", "safety", "risk_bands.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	schemes := map[string][]Band{}
	for _, r := range rows[1:] {
		from, to, isRange := strings.Cut(r[1], "-")
		if name := r[0][:1]; isRange && (name == "A" || name == "B") {
			f, err1 := strconv.Atoi(from)
			u, err2 := strconv.Atoi(to)
			if err := errors.Join(err1, err2); err != nil {
				t.Fatal(err)
			}
			schemes[name] = append(schemes[name], Band{From: f, To: u, Word: r[2], Action: "as the scheme says"})
		}
	}
	if len(schemes["A"]) != 4 || len(schemes["B"]) != 5 {
		t.Fatalf("the file has %v", schemes)
	}
	for name, published := range schemes {
		m := DefaultMatrix()
		m.Bands = slices.Clone(published)
		for i := range m.Bands { // products such as 7 are in no scheme's range, since they cannot be
			if i+1 < len(m.Bands) {
				m.Bands[i].To = m.Bands[i+1].From - 1
			}
		}
		m.Bands[len(m.Bands)-1].Stops = true
		if err := errors.Join(m.check()...); err != nil {
			t.Errorf("scheme %s: %v", name, err)
		}
		for l := 1; l <= 5; l++ {
			for s := 1; s <= 5; s++ {
				in := slices.IndexFunc(published, func(b Band) bool { return l*s >= b.From && l*s <= b.To })
				if got, ok := m.Band(Score{l, s}); !ok || in < 0 || got.Word != published[in].Word {
					t.Errorf("scheme %s, %d x %d: %s", name, l, s, got.Word)
				}
			}
		}
	}
	start, b := DefaultMatrix().Bands, schemes["B"]
	for i := range 3 {
		if start[i].From != b[i].From || start[i].To != b[i].To {
			t.Errorf("band %d is %d to %d, scheme B has %d to %d", i+1, start[i].From, start[i].To, b[i].From, b[i].To)
		}
	}
	if start[3].From != b[3].From || start[3].To != b[4].To {
		t.Errorf("the highest band is %d to %d", start[3].From, start[3].To)
	}
}

// What a firm sets scores the assessments that are made from then on: an older one
// keeps its bytes, and the decision goes by the one that it has.
func TestAFirmsMatrixScoresWhatIsMadeAfterIt(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	was := w.Assessment.Body.Hash()
	m := strictMatrix()
	lib, err := DefaultLibrary().With(FirmHazards{Version: 1, Matrix: &m})
	if err != nil {
		t.Fatal(err)
	}
	made := Assess(w.Facts, lib)
	if got := w.decide(); w.Assessment.Body.Hash() != was || got.Verdict != Clear {
		t.Errorf("the version that was issued before: %s", got.find("B06").Sentence())
	}
	for _, e := range made.Entries {
		if want, _ := m.Band(e.After); e.BandAfter != want.Word {
			t.Errorf("%s is %s, want %s", e.Hazard, e.BandAfter, want.Word)
		}
	}
	for i, s := range made.Matrix.Likelihood {
		if own := s.Source == "the firm's own"; own != (i == 2) {
			t.Errorf("likelihood %d has the source %q", s.Step, s.Source)
		}
	}
	said := ""
	for _, d := range Diff(w.Assessment.Body, made) {
		said += d.Sentence() + "\n"
	}
	for _, want := range []string{"3 now and then: once a year in this firm", "10 to 25 refused (plan it another way, stops the work)"} {
		if !strings.Contains(said, want) {
			t.Errorf("the difference does not say %q:\n%s", want, said)
		}
	}
	// From 10 on this firm does not start: a risk that leaves 2 x 5 now holds.
	with := func(matrix Matrix) Condition {
		w := clearMorning(t)
		w.Assessment.Body = Assess(w.Facts, DefaultLibrary())
		w.Assessment.Body.Matrix = matrix
		i := slices.IndexFunc(w.Assessment.Body.Entries, func(e Entry) bool { return slices.Contains(e.Stages, "roof_work") })
		w.Assessment.Body.Entries[i].After = Score{2, 5}
		w.Assessment.BodyHash = w.Assessment.Body.Hash()
		return w.decide().find("B06")
	}
	if c := with(m); c.State != NotMet || !strings.Contains(c.Value, "2 x 5 is refused") {
		t.Errorf("by the firm's matrix: %s", c.Sentence())
	}
	if c := with(DefaultMatrix()); strings.Contains(c.Value, "2 x 5") {
		t.Errorf("by the service's own: %s", c.Sentence())
	}
}

// Whatever matrix is taken: each score has one band, the highest stops, none above
// one that stops goes on, and what it lets pass that the service's own stops is
// told.
func TestWhateverMatrixIsTaken(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := DefaultMatrix()
		ends := append(rapid.SliceOfNDistinct(rapid.IntRange(1, 24), 1, 5, rapid.ID[int]).Draw(t, "ends"), 25)
		slices.Sort(ends)
		m.Bands = nil
		from := 1
		for i, to := range ends {
			m.Bands = append(m.Bands, Band{From: from, To: to, Word: strings.Repeat("x", i+1), Action: "so", Stops: rapid.Bool().Draw(t, "stops")})
			from = to + 1
		}
		if len(m.check()) > 0 {
			return
		}
		stopped, loose := false, false
		for p := 1; p <= 25; p++ {
			in := 0
			for _, b := range m.Bands {
				if p >= b.From && p <= b.To {
					in++
				}
			}
			if in != 1 || stopped && !m.stops(p) {
				t.Fatalf("score %d is in %d bands of %v", p, in, m.Bands)
			}
			stopped = m.stops(p)
			possible := false
			for l := 1; l <= 5; l++ {
				for s := 1; s <= 5; s++ {
					possible = possible || l*s == p
				}
			}
			loose = loose || possible && p >= 15 && !stopped // 15 by hand from matrix.json
		}
		if !stopped || loose != (len(m.Looser()) > 0) {
			t.Fatalf("%v: looser %q", m.Bands, m.Looser())
		}
	})
	m := DefaultMatrix()
	m.Bands = []Band{{From: 1, To: 16, Word: "low", Action: "go on"}, {From: 17, To: 25, Word: "high", Action: "no", Stops: true}}
	if got := m.Looser(); !slices.Equal(got, []string{"a residual score of 15 to 16 lets the work go on; at the start it stops"}) {
		t.Errorf("looser: %q", got)
	}
	if got := strictMatrix().Looser(); len(got) != 0 {
		t.Errorf("a stricter one is looser: %q", got)
	}
}
