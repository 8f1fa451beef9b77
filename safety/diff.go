package safety

import (
	"fmt"
	"slices"
	"strings"
)

// Difference is one thing that another version of an assessment says otherwise.
type Difference struct {
	What string // "hazard H09", "fact roof pitch", "method: roof work"
	Was  string // "" = it was not there
	Is   string // "" = it is no longer there
}

// Sentence says what changed.
func (d Difference) Sentence() string {
	switch {
	case d.Was == "":
		return upperFirst(d.What) + " is new: " + d.Is
	case d.Is == "":
		return upperFirst(d.What) + " is gone: " + d.Was
	default:
		return upperFirst(d.What) + " was " + d.Was + ", is now " + d.Is
	}
}

// Diff says in words what one version of an assessment says otherwise than an
// earlier one: facts, hazards with their scores, controls and evidence, method,
// rescue plan, emergency sheet, sums, matrix. Versions with the same bytes have
// no difference, and those with other bytes have at least one.
func Diff(was, is Assessment) []Difference {
	d := &differ{}
	d.line("library", was.Library, is.Library)
	d.facts(was.Facts, is.Facts)
	d.entries(was.Entries, is.Entries)
	d.lists("question", questionWords(was.Questions), questionWords(is.Questions))
	d.method(was.Method, is.Method)
	d.lists("rescue plan", was.Rescue, is.Rescue)
	d.lines("emergency sheet", was.Emergency, is.Emergency)
	d.lines("sum", was.Sums, is.Sums)
	d.lines("put aside", was.Aside, is.Aside)
	d.lists("caution", was.Cautions, is.Cautions)
	if hashOf(was.Matrix) != hashOf(is.Matrix) {
		d.matrix(was.Matrix, is.Matrix)
	}
	if len(d.all) == 0 && was.Hash() != is.Hash() {
		d.line("order or layout of the text", "version "+was.Hash().Short(), "version "+is.Hash().Short())
	}
	return d.all
}

type differ struct{ all []Difference }

func (d *differ) line(what, was, is string) {
	if was != is {
		d.all = append(d.all, Difference{what, was, is})
	}
}

func (d *differ) facts(was, is Facts) {
	keys := append(sortedKeys(was), sortedKeys(is)...)
	slices.Sort(keys)
	for _, k := range slices.Compact(keys) {
		say := func(f Facts) string {
			if v, known := f[k]; known {
				return strings.TrimSpace(v.String() + " " + factByKey[k].Unit)
			}
			return ""
		}
		d.line("fact "+names([]string{k}), say(was), say(is))
	}
}

func (d *differ) entries(was, is []Entry) {
	of := func(all []Entry, id string) *Entry {
		if i := slices.IndexFunc(all, func(e Entry) bool { return e.Hazard == id }); i >= 0 {
			return &all[i]
		}
		return nil
	}
	for _, e := range is {
		before := of(was, e.Hazard)
		what := "hazard " + e.Hazard
		if before == nil {
			d.line(what, "", e.Name+" ("+lowerFirst(strings.TrimSuffix(e.Why(), "."))+")")
			continue
		}
		d.entry(what, *before, e)
	}
	for _, e := range was {
		if of(is, e.Hazard) == nil {
			d.line("hazard "+e.Hazard, e.Name, "")
		}
	}
}

func (d *differ) entry(what string, was, is Entry) {
	what += " " + is.Name
	score := func(e Entry) string {
		return fmt.Sprintf("%d x %d before controls (%s) and %d x %d after (%s)", e.Before.Likelihood, e.Before.Severity, e.BandBefore, e.After.Likelihood, e.After.Severity, e.BandAfter)
	}
	d.line(what+", name", was.Name, is.Name)
	d.line(what+", presence", string(was.Presence), string(is.Presence))
	d.line(what+", why it is here", was.Why(), is.Why())
	d.line(what+", score", score(was), score(is))
	d.line(what+", who may be harmed", strings.Join(was.Who, ", "), strings.Join(is.Who, ", "))
	d.line(what+", stages", strings.Join(was.Stages, ", "), strings.Join(is.Stages, ", "))
	d.lists(what+", control", controlWords(was.Controls), controlWords(is.Controls))
	d.lists(what+", evidence", was.Evidence, is.Evidence)
	d.lists(what+", seen on site by the check", was.ConfirmedBy, is.ConfirmedBy)
	d.lists(what+", photo", photoWords(was.Photos), photoWords(is.Photos))
	d.line(what+", source", was.Source, is.Source)
}

// lists names what of a list came and went.
func (d *differ) lists(what string, was, is []string) {
	for _, s := range is {
		if !slices.Contains(was, s) {
			d.line(what, "", s)
		}
	}
	for _, s := range was {
		if !slices.Contains(is, s) {
			d.line(what, s, "")
		}
	}
}

func (d *differ) lines(what string, was, is []Line) {
	say := func(all []Line, label string) string {
		for _, l := range all {
			if l.Label == label {
				return l.Say
			}
		}
		return ""
	}
	for _, l := range is {
		d.line(what+", "+lowerFirst(l.Label), say(was, l.Label), l.Say)
	}
	for _, l := range was {
		if say(is, l.Label) == "" {
			d.line(what+", "+lowerFirst(l.Label), l.Say, "")
		}
	}
}

func (d *differ) method(was, is []MethodStage) {
	steps := func(all []MethodStage, stage string) []string {
		for _, s := range all {
			if s.Stage == stage {
				return s.Steps
			}
		}
		return nil
	}
	for _, stage := range chainStages {
		d.lists("method of "+strings.ReplaceAll(stage, "_", " "), steps(was, stage), steps(is, stage))
	}
}

func controlWords(all []Control) []string {
	var out []string
	for _, c := range all {
		out = append(out, c.Step+": "+c.Do)
	}
	return out
}

func photoWords(all []Photo) []string {
	var out []string
	for _, p := range all {
		out = append(out, "SHA-256 "+p.SHA256.Short())
	}
	return out
}

func questionWords(all []Question) []string {
	var out []string
	for _, q := range all {
		out = append(out, q.Ask)
	}
	return out
}

// matrix tells what scores mean now: each step and the bands, and where none of
// them changed, that the note or a source did.
func (d *differ) matrix(was, is Matrix) {
	before := len(d.all)
	d.lists("likelihood", stepsSay(was.Likelihood), stepsSay(is.Likelihood))
	d.lists("severity", stepsSay(was.Severity), stepsSay(is.Severity))
	d.line("bands", was.bandsSay(), is.bandsSay())
	if len(d.all) == before {
		d.line("sources of the matrix", "as of "+hashOf(was).Short(), "as of "+hashOf(is).Short())
	}
}

func stepsSay(all []Step) []string {
	said := make([]string, len(all))
	for i, s := range all {
		said[i] = s.says()
	}
	return said
}
