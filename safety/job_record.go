package safety

import (
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// The kinds of a job's record.
const (
	Weatherproof   = "weatherproof"    // the roof is tight again, before the scaffold may go
	ElectricalTest = "electrical_test" // one measurement of one circuit or string
	Isolation      = "isolation"       // a permit: what is dead, from when
	IsolationTaken = "isolation_taken" // somebody else holds the permit from now on
	IsolationEnd   = "isolation_end"   // it is live again
	NearMiss       = "near_miss"
	Incident       = "incident"
	FollowUp       = "follow_up"    // what came of a near miss or an incident
	Notification   = "notification" // that one was sent, with its evidence
)

// Record is one record of a job beside those of its mornings. It is kept as it
// was written; a correction is another one.
type Record struct {
	ID         uuid.UUID `json:"id"`
	Job        uuid.UUID `json:"job"`
	JobRef     string    `json:"job_ref"`
	Kind       string    `json:"kind"`
	At         time.Time `json:"at"` // UTC, when it was done or happened
	Body       Fields    `json:"body"`
	By         uuid.UUID `json:"by"`
	ByName     string    `json:"by_name"`
	RecordedAt time.Time `json:"recorded_at"` // UTC
}

// Fields are what a record holds, by key.
type Fields map[string]string

// particular is one field of a kind of record.
type particular struct {
	key   string
	ask   string   // what is asked, in words
	must  bool     // whether it must be there
	words []string // the allowed answers, where they are words
}

// yesNo are the answers to a question of a check: what was not looked at is
// neither.
var yesNo = []string{"yes", "no"}

// recordFields lists what each kind of record holds.
var recordFields = map[string][]particular{
	Weatherproof: {
		{"flashings", "flashings and hooks seated, no tile lifted", true, yesNo},
		{"tiles", "every broken or cut tile replaced", true, yesNo},
		{"penetrations", "every cable entry sealed", true, yesNo},
		{"underlay", "underlay whole or mended", true, yesNo},
		{"gutters", "gutters and scaffold clear of debris", true, yesNo},
		{"photo", "photo of the finished roof", true, nil},
		{"note", "anything to know", false, nil},
	},
	Isolation: {
		{"what", "what is isolated, and from which supplies", true, nil},
		{"where", "the points of isolation, each locked off", true, nil},
		{"tester", "the tester, proved before and after", true, nil},
		{"reading_v", "the reading at the point of work, in V", true, nil},
		{"holds_key", "who holds the key", true, nil},
		{"photo", "photo of the lock and its label", false, nil},
	},
	IsolationTaken: {
		{"permit", "the permit that is taken over", true, nil},
		{"says", "what was handed over, and by whom", true, nil},
		{"tester", "the tester, proved before and after", true, nil},
		{"reading_v", "the reading at the point of work, taken again, in V", true, nil},
		{"holds_key", "who holds the key now", true, nil},
	},
	IsolationEnd: {
		{"permit", "the permit that ends", true, nil},
		{"says", "everybody is clear and told", true, nil},
	},
	NearMiss: {
		{"what", "what happened", true, nil},
		{"reading", "a reading that belongs to it, with its unit", false, nil},
		{"learnt", "what is learnt from it", false, nil},
		{"hazard", "the hazard it belongs to, as H08", false, nil},
		{"photo", "photo", false, nil},
	},
	Incident: {
		{"what", "what happened", true, nil},
		{"outcome", "what came of it", true, []string{"first_aid", "over_3_days", "over_7_days", "specified_injury", "public_to_hospital", "death", "dangerous_occurrence", "damage_only"}},
		{"reading", "a reading that belongs to it, with its unit", false, nil},
		{"learnt", "what is learnt from it", false, nil},
		{"hazard", "the hazard it belongs to, as H08", false, nil},
		{"photo", "photo", false, nil},
	},
	FollowUp: {
		{"about", "the near miss or incident", true, nil},
		{"what", "what was done about it", true, nil},
		{"learnt", "what is learnt from it", false, nil},
		{"hazard", "the hazard it belongs to, as H08", false, nil},
		{"photo", "photo", false, nil},
	},
	Notification: {
		{"duty", "which duty", true, nil},
		{"incident", "the incident that was reported", false, nil},
		{"sent_to", "to whom", true, nil},
		{"reference", "the reference or other evidence", true, nil},
	},
	ElectricalTest: {
		{"test", "which test", true, electricalTestKeys()},
		{"circuit", "the circuit or string", true, nil},
		{"value", "the reading, as the instrument shows it", true, nil},
		{"judged", "good, in the tester's judgement, where no number decides", false, yesNo},
		{"instrument", "the instrument, by its serial number", true, nil},
		{"modules", "of a string: how many modules", false, nil},
		{"voc_stc_v", "of a string: open-circuit voltage of one module at 25 degrees C, in V", false, nil},
		{"temp_coeff", "of a string: its temperature coefficient, in % per K, below 0", false, nil},
		{"cell_temp_c", "of a string: temperature of the modules, in degrees C", false, nil},
	},
}

// photoSum is the key under which the sum of a kept photo stands beside it, so
// that the log holds it too.
const photoSum = "photo_sha256"

// RecordField is one field of a kind of record as a form asks for it.
type RecordField struct {
	Key, Ask string
	Must     bool
	Words    []string // the allowed answers, where they are words
}

// RecordFields lists what a kind of record holds, in the order in which it is
// asked.
func RecordFields(kind string) []RecordField {
	var all []RecordField
	for _, f := range recordFields[kind] {
		all = append(all, RecordField{f.key, f.ask, f.must, slices.Clone(f.words)})
	}
	return all
}

// RecordWords is what a person calls a record of a kind.
func RecordWords(kind string) string {
	switch kind {
	case Weatherproof:
		return "check of the finished roof"
	case Isolation:
		return "permit to isolate"
	case IsolationTaken:
		return "permit to isolate taken over"
	case IsolationEnd:
		return "end of an isolation"
	case FollowUp:
		return "what came of a near miss or an incident"
	}
	return strings.ReplaceAll(kind, "_", " ")
}

// LessonKinds are the kinds of record from which something is learnt.
var LessonKinds = []string{NearMiss, Incident, FollowUp}

// Lesson is what was learnt from a near miss or an incident about a hazard.
type Lesson struct {
	Hazard string
	Say    string
	JobRef string
	At     time.Time // UTC
}

// Lessons lists what was learnt about each hazard, the newest first, by the
// hazard's code.
func Lessons(records []Record) map[string][]Lesson {
	by := map[string][]Lesson{}
	for i := len(records) - 1; i >= 0; i-- {
		r := records[i]
		if code := strings.ToUpper(strings.TrimSpace(r.Body["hazard"])); slices.Contains(LessonKinds, r.Kind) && code != "" && said(r.Body["learnt"]) {
			by[code] = append(by[code], Lesson{code, r.Body["learnt"], r.JobRef, r.At})
		}
	}
	return by
}

// RecordKinds lists the kinds in the order of their names.
func RecordKinds() []string { return sortedKeys(recordFields) }

// CheckRecord names every particular that is missing, empty, too long or none of
// its kind.
func CheckRecord(kind string, body Fields) error {
	fields, known := recordFields[kind]
	if !known {
		return fault.Bad("kind", kind, "one of "+strings.Join(RecordKinds(), ", "))
	}
	var faults []error
	for _, f := range fields {
		v, given := body[f.key]
		switch {
		case f.must && !said(v):
			faults = append(faults, fault.Bad(f.key, v, f.ask))
		case given && v != "" && len(f.words) > 0 && !slices.Contains(f.words, v):
			faults = append(faults, fault.Bad(f.key, v, "one of "+strings.Join(f.words, ", ")))
		case len(v) > 2000:
			faults = append(faults, fault.Bad(f.key, "", "at most 2000 letters"))
		}
	}
	for _, key := range sortedKeys(body) {
		if key == photoSum && slices.ContainsFunc(fields, func(f particular) bool { return f.key == "photo" }) {
			continue
		}
		if !slices.ContainsFunc(fields, func(f particular) bool { return f.key == key }) {
			faults = append(faults, fault.Bad(key, body[key], "nothing: a record of this kind has no such particular"))
		}
	}
	return errors.Join(faults...)
}

// Fitness is whether somebody declared themselves fit for work on a day: yes or
// no and no more. It never says why.
type Fitness struct {
	ID     uuid.UUID  `json:"id"`
	Person uuid.UUID  `json:"person"`
	Day    civil.Date `json:"day"`
	Fit    bool       `json:"fit"`
	By     uuid.UUID  `json:"by"`
	At     time.Time  `json:"at"` // UTC
}
