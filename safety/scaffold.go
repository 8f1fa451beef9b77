package safety

import (
	"errors"
	"slices"
	"strconv"
	"strings"

	"toeboard/weather/fault"
)

// Particular is one thing that an inspection report must say.
type Particular struct {
	Item  int    // of schedule 7
	Asks  string // what the schedule asks for, in short
	Field string // of ScaffoldReport, as forms name it
	Want  string // what would be right
	given func(ScaffoldReport) bool
}

// Particulars lists the particulars of an inspection report, Work at Height
// Regulations 2005 schedule 7 (eight items, from memory; one page counts seven:
// check against the original). Items with two halves have a row for each.
func Particulars() []Particular { return slices.Clone(particulars) }

var particulars = []Particular{
	{1, "name and address of the person for whom the inspection was carried out", "for_whom", "name and address, such as \"Firm Ltd, 1 Yard Lane\"", func(r ScaffoldReport) bool { return said(r.ForWhom) }},
	{2, "location of the work equipment inspected", "location", "where the scaffold stands", func(r ScaffoldReport) bool { return said(r.Location) }},
	{3, "description of the work equipment inspected", "description", "what was inspected: lifts, sides, drawing", func(r ScaffoldReport) bool { return said(r.Description) }},
	{4, "date and time of the inspection", "at", "date and time of the inspection", func(r ScaffoldReport) bool { return !r.At.IsZero() }},
	{5, "details of any matter identified that could give rise to a risk", "risks", "what could cause a risk, or \"none found\"", func(r ScaffoldReport) bool { return said(r.Risks) }},
	{6, "details of any action taken as a result", "action_taken", "what was done, or \"none\"", func(r ScaffoldReport) bool { return said(r.ActionTaken) }},
	{7, "details of any further action considered necessary", "further", "what is still needed, or \"none\"", func(r ScaffoldReport) bool { return said(r.Further) }},
	{8, "name of the person making the report", "by_name", "name of whoever inspected", func(r ScaffoldReport) bool { return said(r.ByName) }},
	{8, "position of the person making the report", "by_position", "their position, such as \"scaffold inspector\"", func(r ScaffoldReport) bool { return said(r.ByPosition) }},
}

func said(s string) bool { return strings.TrimSpace(s) != "" }

// Lacks names the particulars that the report does not have, as forms name
// them; none when it is complete.
func (r ScaffoldReport) Lacks() []string {
	var all []string
	for _, p := range particulars {
		if !p.given(r) {
			all = append(all, p.Field)
		}
	}
	if r.Kind != Handover && r.Kind != Inspection {
		all = append(all, "kind")
	}
	return all
}

// Check refuses a report that lacks a particular or contradicts itself, with
// every fault at once. A handover states the load class; an inspection may.
func (r ScaffoldReport) Check() error {
	var all []error
	if r.Kind != Handover && r.Kind != Inspection {
		all = append(all, fault.Bad("kind", r.Kind, "handover or inspection"))
	}
	for _, p := range particulars {
		if !p.given(r) {
			all = append(all, fault.Bad(p.Field, "", p.Want))
		}
	}
	if _, ok := LoadOfClass(r.LoadClass); !ok && (r.Kind == Handover || r.LoadClass != 0) {
		all = append(all, fault.Bad("load_class", strconv.Itoa(r.LoadClass), "the load class of EN 12811-1, 1 to 6; a handover states it"))
	}
	all = append(all, r.checkCertificate())
	if !r.At.IsZero() && !r.RecordedAt.IsZero() && r.At.After(r.RecordedAt) {
		all = append(all, fault.Bad("at", r.At.UTC().Format("2006-01-02 15:04 UTC"), "a time that has passed: an inspection is reported after it was made"))
	}
	return errors.Join(all...)
}

// certificateWant says of each field of a certificate what would be right.
var certificateWant = map[string]string{
	"design_ref":  "the design drawing or compliance sheet that the scaffold was built to",
	"lifts":       "how many lifts it has, 1 to 50",
	"ties":        "how it is tied, or \"none, free-standing\"",
	"received_by": "who took it over for the firm",
}

var certificateNames = map[string]string{"design_ref": "design or compliance sheet", "lifts": "lifts", "ties": "ties", "received_by": "receiver"}

func certificateWords(fields []string) string {
	var all []string
	for _, f := range fields {
		all = append(all, certificateNames[f])
	}
	return strings.Join(all, ", ")
}

// checkCertificate wants a whole certificate with a handover and none with an
// inspection.
func (r ScaffoldReport) checkCertificate() error {
	if r.Kind != Handover {
		if r.Certificate != (Certificate{}) {
			return fault.Bad("design_ref", r.DesignRef, "nothing: only a handover has a certificate")
		}
		return nil
	}
	var all []error
	for _, field := range r.Certificate.Lacks() {
		all = append(all, fault.Bad(field, "", certificateWant[field]))
	}
	return errors.Join(all...)
}

// nothing are the ways of saying that nothing is left to do. Anything else is
// taken for an action that is needed.
var nothing = []string{"none", "nothing", "none found", "none needed", "none required", "none necessary", "no further action", "no further action needed",
	"no further action required", "no", "nil"}

// FurtherNeeded tells whether the report asks for further action.
func (r ScaffoldReport) FurtherNeeded() bool {
	return !slices.Contains(nothing, strings.ToLower(strings.Trim(r.Further, " .\t\r\n")))
}

// Finding says what a report leaves open; "" when it found the scaffold fit with
// nothing left to do.
func (r ScaffoldReport) Finding() string {
	if !r.findsFault() {
		return ""
	}
	return r.trouble()
}
