package safety

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

//go:embed induction.csv
var inductionCSV string

// Topic is one thing that whoever starts at the firm is told before they work.
type Topic struct {
	Key    string
	Say    string
	Source string
}

var topics = readTopics(inductionCSV)

// Topics lists what an induction covers, in the order in which it is told.
func Topics() []Topic { return slices.Clone(topics) }

func readTopics(text string) []Topic {
	var all []Topic
	for _, r := range ownRows("induction.csv", text) {
		all = append(all, Topic{Key: r[0], Say: r[1], Source: r[2]})
	}
	return all
}

// Induction is what somebody new to the firm was told, by whom and when. The
// person says so by their own PIN. It may be given in parts: each is a record of
// its own, and together they cover the topics.
type Induction struct {
	ID         uuid.UUID  `json:"id"`
	Person     uuid.UUID  `json:"person"`
	On         civil.Date `json:"on"`        // the day on which it was given
	GivenBy    string     `json:"given_by"`  // name and position of who gave it
	Covered    []string   `json:"covered"`   // keys of topics
	Statement  string     `json:"statement"` // what the person said by their PIN
	Proof      string     `json:"proof"`     // ByPIN
	RecordedBy uuid.UUID  `json:"recorded_by"`
	At         time.Time  `json:"at"` // UTC, when the PIN was given
}

// Check refuses an induction of nobody, of tomorrow, by oneself or about
// nothing, with every fault at once. name is the person's own.
func (i Induction) Check(name string, today civil.Date) []error {
	var all []error
	bad := func(field, value, want string) { all = append(all, fault.Bad(field, value, want)) }
	switch {
	case !i.On.Known():
		bad("on", "", "the day on which the induction was given")
	case i.On > today:
		bad("on", i.On.String(), "a day that has come: today is "+today.String())
	}
	given, _, _ := strings.Cut(i.GivenBy, ",")
	switch {
	case !said(i.GivenBy):
		bad("given_by", i.GivenBy, "the name and position of whoever gave it")
	case OwnName(given, name):
		bad("given_by", i.GivenBy, "somebody else: nobody inducts themselves")
	}
	if len(i.Covered) == 0 {
		bad("covered", "", "at least one topic that was covered")
	}
	for _, key := range i.Covered {
		if !isTopic(key) {
			bad("covered", key, "one of "+strings.Join(topicKeys(), ", "))
		}
	}
	return all
}

func isTopic(key string) bool { return slices.Contains(topicKeys(), key) }

func topicKeys() []string {
	var all []string
	for _, t := range topics {
		all = append(all, t.Key)
	}
	return all
}

// InductionStatement is what a person says by their PIN: when and by whom they
// were inducted, and in what.
func InductionStatement(name string, i Induction) string {
	var b strings.Builder
	fmt.Fprintf(&b, "I, %s, was inducted on %s by %s.\n", name, i.On.Long(), i.GivenBy)
	for _, t := range topics {
		if slices.Contains(i.Covered, t.Key) {
			fmt.Fprintf(&b, "- %s.\n", t.Say)
		}
	}
	b.WriteString("I was told this in words I understand and could ask about it.")
	return b.String()
}

// counts tells whether an induction is one of this person, by their own PIN, and
// of a day not after d.
func (i Induction) counts(p Person, d civil.Date) bool {
	return i.Person == p.ID && p.ID != uuid.Nil && i.On.Known() && i.On <= d && i.Proof == ByPIN && said(i.GivenBy) && said(i.Statement)
}

// NotCovered lists the topics in which a person was not inducted by a day, in
// the order in which they are told; all of them when no induction counts.
func NotCovered(p Person, d civil.Date) []Topic {
	var open []Topic
	for _, t := range topics {
		if !slices.ContainsFunc(p.Inductions, func(i Induction) bool { return i.counts(p, d) && slices.Contains(i.Covered, t.Key) }) {
			open = append(open, t)
		}
	}
	return open
}

// inducted is B23: everybody who works was inducted at this firm, and said so by
// their own PIN. It does not lapse (common practice, no source); of whom nothing
// is recorded counts as new.
func inducted(m *morning) finding {
	if len(m.People) == 0 {
		return unknown("who is on the crew is not known")
	}
	var faults, about []string
	for _, p := range m.People {
		open := NotCovered(p, m.Day)
		if len(open) == 0 {
			continue
		}
		about = append(about, p.Name)
		if len(open) == len(topics) {
			faults = append(faults, "no induction of "+p.Name+" on record")
			continue
		}
		var keys []string
		for _, t := range open {
			keys = append(keys, strings.ReplaceAll(t.Key, "_", " "))
		}
		faults = append(faults, fmt.Sprintf("%s: %d of %d topics covered, not yet %s", p.Name, len(topics)-len(open), len(topics), strings.Join(keys, ", ")))
	}
	if len(faults) > 0 {
		return notMet("%s", strings.Join(faults, "; ")).about(about...)
	}
	return met("%d of %d inducted in all %d topics", len(m.People), len(m.People), len(topics))
}
