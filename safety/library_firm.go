package safety

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"toeboard/weather/fault"
)

// FirmHazards is what a firm sets beside the library that the service comes
// with. It is stored whole, as versions.
type FirmHazards struct {
	Version     int        `json:"version"` // 0 = the firm has set nothing
	Own         []Hazard   `json:"own"`     // ids F01, F02, ...
	Overrides   []Override `json:"overrides"`
	EventGustMS float64    `json:"event_gust_ms"`    // [m/s] from which a scaffold is inspected again; 0 = UsualEventGust
	Matrix      *Matrix    `json:"matrix,omitempty"` // what scores mean and which are accepted; nil = DefaultMatrix
}

// Override changes one hazard of the service's library for this firm, and says
// why. What it leaves empty stays.
type Override struct {
	Hazard         string    `json:"hazard"` // its id
	Why            string    `json:"why"`
	Also           string    `json:"also,omitempty"`     // another rule that puts it on a job too
	Off            bool      `json:"off,omitempty"`      // never on a job of this firm; not for a severity 5
	Before         *Score    `json:"before,omitempty"`   // nil = as in the library
	After          *Score    `json:"after,omitempty"`    // nil = as in the library
	Controls       []Control `json:"controls,omitempty"` // beside those of the library
	LowersSeverity string    `json:"lowers_severity,omitempty"`
}

// UsualEventGust is the gust from which wind counts as an event that could have
// affected a scaffold, while the firm has set none [m/s]: the lower bound of
// Beaufort force 8, fresh gale (the scale is published; to take it for this is
// the firm's own rule: the law names no number).
const UsualEventGust = 17.2

// EventGust is the gust from which a scaffold is inspected again [m/s].
func (f FirmHazards) EventGust() float64 {
	if f.EventGustMS > 0 {
		return f.EventGustMS
	}
	return UsualEventGust
}

// ScoredBy is the matrix by which assessments are made from now on.
func (f FirmHazards) ScoredBy() Matrix {
	if f.Matrix == nil {
		return DefaultMatrix()
	}
	return f.Matrix.ofFirm()
}

// ParseFirmHazards reads a firm's hazards from JSON and checks them against the
// library, with every fault at once. Names that it does not know are refused.
func ParseFirmHazards(text []byte) (FirmHazards, error) {
	var f FirmHazards
	d := json.NewDecoder(strings.NewReader(string(text)))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return FirmHazards{}, fault.Bad("hazards", firstLine(err.Error()), "JSON as 'toeboard hazards' writes it")
	}
	return f, f.Check()
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}

// FirmHazardsJSON writes a firm's hazards as ParseFirmHazards reads them.
func FirmHazardsJSON(f FirmHazards) []byte {
	f.Own, f.Overrides = slices.Clone(f.Own), slices.Clone(f.Overrides)
	if f.Own == nil {
		f.Own = []Hazard{}
	}
	if f.Overrides == nil {
		f.Overrides = []Override{}
	}
	b, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		panic("safety: " + err.Error()) // it holds text and numbers only
	}
	return append(b, '\n')
}

var ownID = regexp.MustCompile(`^F[0-9]{2}$`)

// Check refuses hazards that could not be used, with every fault at once.
func (f FirmHazards) Check() error {
	var all []error
	if f.EventGustMS != 0 && !(f.EventGustMS >= 5 && f.EventGustMS <= 40) {
		all = append(all, fault.Bad("event_gust_ms", fmt.Sprint(f.EventGustMS), "a gust from 5 to 40 m/s, or 0 for the usual one"))
	}
	if len(f.Own) > 50 || len(f.Overrides) > 100 {
		all = append(all, fault.Bad("hazards", fmt.Sprint(len(f.Own), "+", len(f.Overrides)), "at most 50 of the firm's own and 100 overrides"))
	}
	if f.Matrix != nil {
		all = append(all, f.Matrix.check()...)
	}
	seen := map[string]bool{}
	for _, h := range f.Own {
		if !ownID.MatchString(h.ID) || seen[h.ID] {
			all = append(all, fault.Bad("id", h.ID, "F and two digits, each once, such as F01"))
		}
		seen[h.ID] = true
		if err := h.check(); err != nil {
			all = append(all, fault.Bad("hazard "+h.ID, h.Name, err.Error()))
		}
	}
	lib := DefaultLibrary()
	for _, o := range f.Overrides {
		if seen[o.Hazard] {
			all = append(all, fault.Bad("override "+o.Hazard, o.Hazard, "one override for each hazard"))
		}
		seen[o.Hazard] = true
		all = append(all, o.check(lib))
	}
	return errors.Join(all...)
}

// check refuses an override without a reason, or of nothing.
func (o Override) check(lib Library) error {
	i := slices.IndexFunc(lib.Hazards, func(h Hazard) bool { return h.ID == o.Hazard })
	switch {
	case i < 0:
		return fault.Bad("override", o.Hazard, "the id of a hazard of the library, such as H25")
	case !said(o.Why):
		return fault.Bad("override "+o.Hazard, "", "why the firm sees it otherwise, in a sentence")
	case o.Off && lib.Hazards[i].Before.Severity >= worstSeverity:
		return fault.Bad("override "+o.Hazard, "off", "a severity 5 hazard is never switched off: change its controls or its score")
	}
	if _, err := ParseRule(o.Also); err != nil {
		return err
	}
	if _, err := o.of(lib.Hazards[i]); err != nil {
		return fault.Bad("override "+o.Hazard, "", err.Error())
	}
	return nil
}

// of gives the hazard as the firm sees it.
func (o Override) of(h Hazard) (Hazard, error) {
	if said(o.Also) {
		when, err := ParseRule("(" + h.When.String() + ") or (" + o.Also + ")")
		if err != nil {
			return h, err
		}
		h.When = when
	}
	if o.Before != nil {
		h.Before = *o.Before
	}
	if o.After != nil {
		h.After, h.LowersSeverity = *o.After, o.LowersSeverity
	}
	h.Controls = withControls(h.Controls, o.Controls)
	h.Source += "; the firm's override: " + o.Why
	if h.After.Severity >= worstSeverity && len(h.ConfirmedBy) == 0 {
		h.ConfirmedBy = []string{"worst_risks"}
	}
	return h, h.check()
}

// withControls adds controls and keeps the order of the hierarchy.
func withControls(have, more []Control) []Control {
	all := append(slices.Clone(have), more...)
	slices.SortStableFunc(all, func(a, b Control) int { return slices.Index(hierarchy, a.Step) - slices.Index(hierarchy, b.Step) })
	return all
}

// With gives the library as a firm sees it: the overridden hazards in their
// places, the firm's own behind them. A hazard that the firm put aside is told
// in Aside with the reason.
func (lib Library) With(f FirmHazards) (Library, error) {
	if err := f.Check(); err != nil {
		return lib, err
	}
	if f.Version == 0 {
		return lib, nil
	}
	lib.Firm = f.Version
	lib.Matrix = f.ScoredBy()
	lib.Hazards = slices.Clone(lib.Hazards)
	for _, o := range f.Overrides {
		i := slices.IndexFunc(lib.Hazards, func(h Hazard) bool { return h.ID == o.Hazard })
		if o.Off {
			h := lib.Hazards[i]
			lib.Aside = append(lib.Aside, Line{Label: h.ID + " " + h.Name, Say: "the firm put it aside: " + o.Why})
			lib.Hazards = slices.Delete(lib.Hazards, i, i+1)
			continue
		}
		changed, err := o.of(lib.Hazards[i])
		if err != nil {
			return lib, err
		}
		lib.Hazards[i] = changed
	}
	lib.Hazards = append(lib.Hazards, f.Own...)
	return lib, lib.check()
}

// Changes says in words what these hazards change against others.
func (f FirmHazards) Changes(was FirmHazards) []string {
	all := []string{}
	if f.EventGust() != was.EventGust() {
		all = append(all, fmt.Sprintf("a scaffold is inspected again from gusts of %g m/s on, not %g", f.EventGust(), was.EventGust()))
	}
	all = append(all, f.ScoredBy().changes(was.ScoredBy())...)
	all = append(all, changesOf("hazard", f.Own, was.Own, func(h Hazard) (string, string) { return h.ID, h.ID + " " + h.Name })...)
	return append(all, changesOf("override", f.Overrides, was.Overrides, func(o Override) (string, string) { return o.Hazard, o.Hazard + " (" + o.Why + ")" })...)
}

func changesOf[T any](what string, is, was []T, name func(T) (key, words string)) []string {
	find := func(list []T, key string) *T {
		for i := range list {
			if k, _ := name(list[i]); k == key {
				return &list[i]
			}
		}
		return nil
	}
	var all []string
	for _, n := range is {
		key, words := name(n)
		switch before := find(was, key); {
		case before == nil:
			all = append(all, "new "+what+": "+words)
		case hashOf(n) != hashOf(*before):
			all = append(all, what+" changed: "+words)
		}
	}
	for _, o := range was {
		if key, words := name(o); find(is, key) == nil {
			all = append(all, what+" taken away: "+words)
		}
	}
	return all
}
