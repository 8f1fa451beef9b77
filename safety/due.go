package safety

import (
	"cmp"
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

//go:embed duties.csv
var dutiesCSV string

// duty is one row of duties.csv: who is told what, and within which time of what.
type duty struct {
	code, words, region, starts, clock string
	days                               int
	who, evidence, source              string
}

var duties = readDuties(dutiesCSV)

func readDuties(text string) []duty {
	var all []duty
	for _, r := range ownRows("duties.csv", text) {
		n, err := strconv.Atoi(r[5])
		if err != nil {
			panic("safety: duties.csv: " + r[0] + ": " + err.Error())
		}
		all = append(all, duty{r[0], r[1], r[2], r[3], r[4], n, r[6], r[7], r[8]})
	}
	return all
}

// IsDuty tells whether a code is that of a duty.
func IsDuty(code string) bool {
	return slices.ContainsFunc(duties, func(d duty) bool { return d.code == code })
}

// DueFacts are what the duties after one job depend on.
type DueFacts struct {
	JobRef       string
	Division     string     // of the firm: "england-and-wales", "scotland" or "northern-ireland"
	Commissioned civil.Date // NoDate = not yet
	Facts        Facts      // of the job; ac_amps_per_phase decides the way to the grid operator
	Records      []Record   // incidents and notifications of the job, any order
	Location     *time.Location
}

// Due is one duty of one job.
type Due struct {
	Code     string
	JobRef   string
	Words    string
	Who      string     // who sends it
	Began    civil.Date // when its clock started
	Deadline civil.Date // the last day; NoDate = the source names no number of days
	Clock    string     // "28 calendar days", "at once"
	Evidence string     // what shows that it was sent, or what to ask for
	Sent     civil.Date // NoDate = not sent
	Unsure   string     // what must be known before one can tell whether it is due; "" = it is
	Incident uuid.UUID  // the incident that started it; Nil = its clock is another
	Source   string
}

// Overdue tells whether the last day has passed and nothing was sent.
func (d Due) Overdue(today civil.Date) bool {
	return !d.Sent.Known() && d.Deadline.Known() && today > d.Deadline
}

// Sentence says how a duty stands on a day.
func (d Due) Sentence(today civil.Date) string {
	switch {
	case d.Sent.Known():
		late := ""
		if d.Deadline.Known() && d.Sent > d.Deadline {
			late = ", after its last day " + d.Deadline.Short()
		}
		return "sent " + d.Sent.Short() + late + ": " + d.Evidence
	case d.Unsure != "":
		return "not known whether it is due: " + d.Unsure
	case !d.Deadline.Known():
		return "due, " + d.Clock
	case d.Overdue(today):
		return fmt.Sprintf("overdue by %s: the last day was %s", days(int(today-d.Deadline)), d.Deadline.Short())
	case d.Deadline == today:
		return "due today"
	}
	return fmt.Sprintf("due by %s, in %s", d.Deadline.Short(), days(int(d.Deadline-today)))
}

func days(n int) string {
	if n == 1 {
		return "1 day"
	}
	return strconv.Itoa(n) + " days"
}

// gridLimit is the current a phase up to which one connects and then tells [A]
// (EREC G98; at 230 V 3.68 kW).
const gridLimit = 16

// DueList lists the duties after one job: those of its commissioning, and those
// of each reportable incident. addWorkingDays counts working days of the firm's
// division; the day after the start is day 1. It is guidance: the regulator and
// the operator decide.
func DueList(f DueFacts, addWorkingDays func(civil.Date, int) civil.Date) []Due {
	var all []Due
	for _, d := range duties {
		if d.region != "all" && d.region != f.Division {
			continue
		}
		switch d.starts {
		case "commissioned":
			if one, applies := f.afterCommissioning(d); applies {
				all = append(all, one.clocked(d, f.Commissioned, addWorkingDays))
			}
		default:
			for _, r := range f.Records {
				if r.Kind == Incident && startsWith(r.Body["outcome"]) == d.starts {
					one := Due{Code: d.code, Words: d.words + ": " + r.Body["what"], Incident: r.ID}
					all = append(all, one.clocked(d, civil.DateOf(r.At, f.Location), addWorkingDays))
				}
			}
		}
	}
	for i := range all {
		all[i].JobRef = f.JobRef
		f.sent(&all[i])
	}
	slices.SortStableFunc(all, func(a, b Due) int {
		last := func(d Due) civil.Date {
			if !d.Deadline.Known() {
				return d.Began
			}
			return d.Deadline
		}
		return cmp.Or(cmp.Compare(last(a), last(b)), strings.Compare(a.Code, b.Code))
	})
	return all
}

// startsWith says which clock an incident's outcome starts; "" for one that is
// only recorded.
func startsWith(outcome string) string {
	switch outcome {
	case "death", "specified_injury", "public_to_hospital", "dangerous_occurrence":
		return "at_once"
	case "over_7_days":
		return outcome
	}
	return ""
}

// afterCommissioning tells whether a duty belongs to this job.
func (f DueFacts) afterCommissioning(d duty) (one Due, applies bool) {
	if !f.Commissioned.Known() {
		return Due{}, false
	}
	one = Due{Code: d.code, Words: d.words}
	amps, known := f.Facts["ac_amps_per_phase"]
	switch d.code {
	case "grid_connected":
		if !known {
			one.Unsure = "what the AC ratings at the premises add up to, in A a phase; up to 16 A it is"
		}
		return one, !known || amps.N <= gridLimit
	case "grid_above":
		return one, known && amps.N > gridLimit
	}
	return one, true
}

// clocked fills in when a duty began and when it ends.
func (one Due) clocked(d duty, began civil.Date, addWorkingDays func(civil.Date, int) civil.Date) Due {
	one.Began, one.Deadline, one.Who, one.Evidence, one.Source = began, civil.NoDate, d.who, d.evidence, d.source
	one.Sent = civil.NoDate
	one.Clock = d.clock
	switch d.clock {
	case "calendar days":
		one.Deadline, one.Clock = began+civil.Date(d.days), fmt.Sprintf("%d calendar days", d.days)
	case "working days":
		one.Deadline, one.Clock = addWorkingDays(began, d.days), fmt.Sprintf("%d working days", d.days)
	case "at once":
		one.Deadline = began
	}
	return one
}

// sent fills in the newest evidence that a duty was done, from its start on. A
// duty that an incident started is done only by what names that incident;
// evidence that names none counts where there is but one it can mean.
func (f DueFacts) sent(d *Due) {
	for _, r := range f.Records {
		on := civil.DateOf(r.At, f.Location)
		if r.Kind != Notification || r.Body["duty"] != d.Code || on < d.Began || d.Sent.Known() && on < d.Sent {
			continue
		}
		named := strings.TrimSpace(r.Body["incident"])
		if d.Incident != uuid.Nil && named != d.Incident.String() && !(named == "" && f.started(d.Code) == 1) {
			continue
		}
		d.Sent, d.Evidence = on, r.Body["reference"]+", to "+r.Body["sent_to"]
	}
}

// started counts the incidents that started a duty.
func (f DueFacts) started(code string) (n int) {
	for _, r := range f.Records {
		if StartsDuty(r, code) {
			n++
		}
	}
	return n
}

// StartsDuty tells whether a record is an incident that starts the clock of a
// duty.
func StartsDuty(r Record, code string) bool {
	return r.Kind == Incident && slices.ContainsFunc(duties, func(d duty) bool {
		return d.code == code && d.starts == startsWith(r.Body["outcome"])
	})
}

// DutyOfIncident tells whether an incident starts the clock of a duty: evidence
// of it must name which.
func DutyOfIncident(code string) bool {
	return slices.ContainsFunc(duties, func(d duty) bool { return d.code == code && d.starts != "commissioned" })
}

// DutyWords names a duty; "" for one that is not known.
func DutyWords(code string) string {
	for _, d := range duties {
		if d.code == code {
			return d.words
		}
	}
	return ""
}

// ReportGuidance says in sentences which incidents are reported, and by when. The
// regulator decides.
func ReportGuidance() []string {
	var all []string
	for _, d := range duties {
		switch {
		case d.starts == "commissioned":
		case d.days == 0:
			all = append(all, "Death, a specified injury, a member of the public taken to hospital, a dangerous occurrence: at once, by the quickest way. "+d.source)
		case d.starts == "over_7_days":
			all = append(all, fmt.Sprintf("More than seven days in a row unable to work, the day of the accident not counted: in writing within %d days of it. %s", d.days, d.source))
		default:
			all = append(all, fmt.Sprintf("Each of those in writing within %d days. %s", d.days, d.source))
		}
	}
	return append(all, "More than three days: recorded, not reported. Records are kept three years (RIDDOR 2013 reg 12 [read]). Northern Ireland has its own rules.")
}
