package safety

import (
	"fmt"
	"slices"
	"strings"

	"toeboard/weather/fault"
)

// Matrix is the firm's reading of the 5 x 5 matrix: what each step of likelihood
// and severity means, and what is accepted. It is stored with every assessment, so
// that an old version still says what its scores meant and is judged by it.
type Matrix struct {
	Note       string `json:"note"`
	Likelihood []Step `json:"likelihood"` // steps 1 to 5
	Severity   []Step `json:"severity"`   // steps 1 to 5
	Bands      []Band `json:"bands"`      // of the product, 1 to 25 without a gap, the lowest first
}

// Step is the meaning of one step of a scale.
type Step struct {
	Step    int    `json:"step"`
	Word    string `json:"word"`
	Meaning string `json:"meaning"`
	Source  string `json:"source,omitempty"`
}

// Band is a range of products, both ends inclusive, and what it asks for.
type Band struct {
	From   int    `json:"from"`
	To     int    `json:"to"`
	Word   string `json:"word"`
	Action string `json:"action"`
	Stops  bool   `json:"stops"` // whether a residual score here holds the crew
	Source string `json:"source,omitempty"`
}

// highestScore is the product of the highest steps.
const highestScore = 25

// mostBands is how many bands a matrix may have (firm's own rule; published
// schemes have three to five).
const mostBands = 6

// longestMatrixText is how many letters a word, a meaning or an action may have.
const longestMatrixText = 200

// DefaultMatrix is the matrix that the service comes with.
func DefaultMatrix() Matrix { return DefaultLibrary().Matrix }

// Band gives the band of a score; ok is false when none covers it.
func (m Matrix) Band(s Score) (b Band, ok bool) {
	if i := m.rank(s); i < len(m.Bands) {
		return m.Bands[i], true
	}
	return Band{}, false
}

// rank tells how high the band of a score is: 0 is the lowest. A score that no
// band covers is above all of them.
func (m Matrix) rank(s Score) int {
	for i, b := range m.Bands {
		if p := s.Product(); p >= b.From && p <= b.To {
			return i
		}
	}
	return len(m.Bands)
}

// check refuses a matrix by which nobody could tell what a score means, with every
// fault at once. The highest score always stops the work, and where one stops, each
// above it does.
func (m Matrix) check() []error {
	all := append(checkSteps("likelihood", m.Likelihood), checkSteps("severity", m.Severity)...)
	bad := func(i int, value, want string) {
		all = append(all, fault.Bad(fmt.Sprintf("band %d", i+1), value, want))
	}
	if len(m.Bands) < 2 || len(m.Bands) > mostBands {
		all = append(all, fault.Bad("bands", fmt.Sprint(len(m.Bands)), fmt.Sprintf("2 to %d bands", mostBands)))
	}
	from, stops := 1, false
	words := map[string]bool{}
	for i, b := range m.Bands {
		if b.From != from || b.To < b.From {
			bad(i, fmt.Sprintf("%d to %d", b.From, b.To), fmt.Sprintf("a band from %d on: each score from 1 to %d is in one", from, highestScore))
		}
		if word := strings.ToLower(strings.TrimSpace(b.Word)); !fits(b.Word) || words[word] {
			bad(i, b.Word, "a word that no other band has")
		} else {
			words[word] = true
		}
		if !fits(b.Action) {
			bad(i, b.Action, fmt.Sprintf("what is done about such a risk, at most %d letters", longestMatrixText))
		}
		if stops && !b.Stops {
			bad(i, b.Word, "a band that stops the work, as the one below it does")
		}
		from, stops = b.To+1, b.Stops
	}
	switch {
	case len(m.Bands) == 0:
	case from != highestScore+1:
		bad(len(m.Bands)-1, fmt.Sprintf("up to %d", from-1), fmt.Sprintf("the highest band ends at %d", highestScore))
	case !stops:
		bad(len(m.Bands)-1, m.Bands[len(m.Bands)-1].Word, "the highest band stops the work")
	case m.Bands[0].Stops:
		bad(0, m.Bands[0].Word, "the lowest band lets the work go on")
	}
	return all
}

func checkSteps(scale string, steps []Step) (all []error) {
	if len(steps) != 5 {
		return []error{fault.Bad(scale, fmt.Sprint(len(steps)), "five steps, 1 to 5")}
	}
	words := map[string]bool{}
	for i, s := range steps {
		field := fmt.Sprintf("%s %d", scale, i+1)
		word := strings.ToLower(strings.TrimSpace(s.Word))
		if s.Step != i+1 {
			all = append(all, fault.Bad(field, fmt.Sprint(s.Step), "the steps 1 to 5 in their order"))
		}
		if !fits(s.Word) || words[word] {
			all = append(all, fault.Bad(field, s.Word, "a word that no other step has"))
		}
		words[word] = true
		if !fits(s.Meaning) {
			all = append(all, fault.Bad(field+" meaning", s.Meaning, fmt.Sprintf("what the step means, at most %d letters", longestMatrixText)))
		}
	}
	return all
}

func fits(s string) bool { return said(s) && len([]rune(s)) <= longestMatrixText }

// ofFirm is a matrix as a firm set it: each row that says what the service's own
// says keeps its source, every other is the firm's.
func (m Matrix) ofFirm() Matrix {
	const own = "the firm's own"
	start := DefaultMatrix()
	m.Note = "Likelihood x severity, 1 to 5 each. The words and the bands are the firm's own, set beside the hazards."
	steps := func(is, was []Step) []Step {
		is = slices.Clone(is)
		for i := range is {
			is[i].Word, is[i].Meaning, is[i].Source = strings.TrimSpace(is[i].Word), strings.TrimSpace(is[i].Meaning), own
			if i < len(was) && is[i].says() == was[i].says() {
				is[i].Source = was[i].Source
			}
		}
		return is
	}
	m.Likelihood, m.Severity = steps(m.Likelihood, start.Likelihood), steps(m.Severity, start.Severity)
	m.Bands = slices.Clone(m.Bands)
	for i := range m.Bands {
		b := &m.Bands[i]
		b.Word, b.Action, b.Source = strings.TrimSpace(b.Word), strings.TrimSpace(b.Action), own
		if j := slices.IndexFunc(start.Bands, func(o Band) bool { return o.says() == b.says() }); j >= 0 {
			b.Source = start.Bands[j].Source
		}
	}
	return m
}

// says is a step in words.
func (s Step) says() string { return fmt.Sprintf("%d %s: %s", s.Step, s.Word, s.Meaning) }

// says is a band in words.
func (b Band) says() string {
	does := "goes on"
	if b.Stops {
		does = "stops the work"
	}
	return fmt.Sprintf("%d to %d %s (%s, %s)", b.From, b.To, b.Word, b.Action, does)
}

// Looser names the scores that stop the work by the matrix that the service comes
// with and do not by this one: "a residual score of 15 to 16 lets the work go on;
// at the start it stops".
func (m Matrix) Looser() []string {
	start := DefaultMatrix()
	var runs [][]int
	for p := 1; p <= highestScore; p++ {
		if !isProduct(p) || !start.stops(p) || m.stops(p) {
			continue
		}
		if n := len(runs); n > 0 && !slices.ContainsFunc(between(runs[n-1][len(runs[n-1])-1], p), isProduct) {
			runs[n-1] = append(runs[n-1], p)
			continue
		}
		runs = append(runs, []int{p})
	}
	said := []string{}
	for _, r := range runs {
		scores := fmt.Sprint(r[0])
		if last := r[len(r)-1]; last != r[0] {
			scores += fmt.Sprintf(" to %d", last)
		}
		said = append(said, "a residual score of "+scores+" lets the work go on; at the start it stops")
	}
	return said
}

// isProduct tells whether two steps can give a score: 7, 11, 13 and others cannot.
func isProduct(p int) bool {
	for l := 1; l <= 5; l++ {
		if p%l == 0 && p/l <= 5 {
			return true
		}
	}
	return false
}

// between lists the whole numbers between two, without them.
func between(a, b int) (all []int) {
	for n := a + 1; n < b; n++ {
		all = append(all, n)
	}
	return all
}

// stops tells whether a product holds the crew; one that no band covers does.
func (m Matrix) stops(product int) bool {
	for _, b := range m.Bands {
		if product >= b.From && product <= b.To {
			return b.Stops
		}
	}
	return true
}

// changes says in words what a matrix has otherwise than another.
func (m Matrix) changes(was Matrix) []string {
	var all []string
	steps := func(scale string, is, was []Step) {
		for i, s := range is {
			if i < len(was) && was[i].says() != s.says() {
				all = append(all, fmt.Sprintf("%s %s, not %s", scale, s.says(), was[i].says()))
			}
		}
	}
	steps("likelihood", m.Likelihood, was.Likelihood)
	steps("severity", m.Severity, was.Severity)
	if is, before := m.bandsSay(), was.bandsSay(); is != before {
		all = append(all, "bands "+is+", not "+before)
	}
	return all
}

func (m Matrix) bandsSay() string {
	said := make([]string, len(m.Bands))
	for i, b := range m.Bands {
		said[i] = b.says()
	}
	return strings.Join(said, "; ")
}
