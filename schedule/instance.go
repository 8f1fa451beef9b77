package schedule

import (
	"encoding/hex"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/uuid"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// The JSON form of an instance (a Snapshot as planning sees it) and of a plan,
// so that others can rebuild, price and measure the problem. MODEL.md, section
// 6, says what every field means; the structs below are its order in the file.
// What of a Snapshot is left out, and why, is listed in instance_test.go.
//
// A number or a yes-or-no that must be given is a pointer, so that a missing
// one is told from a zero. A date that is missing or null is not known.

// The names and versions that a file begins with, and how large it may be.
const (
	instanceName  = "toeboard instance"
	planName      = "toeboard plan"
	formVersion   = 1
	MostFileBytes = 256 << 20 // of an instance or a plan; 10,000 jobs take some 40 MB
)

type instanceForm struct {
	Form      string         `json:"form"`
	Version   *int           `json:"version"`
	TimeZone  string         `json:"time_zone"`
	Now       formInstant    `json:"now"`
	FirstDay  formDay        `json:"first_day"`
	Days      *int           `json:"days"`
	Frozen    *int           `json:"frozen_working_days"`
	Rates     jsontext.Value `json:"rates"`
	Holidays  []formDay      `json:"holidays"`
	Crews     []crewForm     `json:"crews"`
	Scaffold  []scaffoldForm `json:"scaffold_firms"`
	Jobs      []jobForm      `json:"jobs"`
	Bookings  []bookingForm  `json:"bookings"`
	Refused   []refusedForm  `json:"refused_days,omitempty"`
	Outlooks  []outlookForm  `json:"outlooks"`
	Travel    []legForm      `json:"travel,omitempty"`
	Offers    []offerForm    `json:"held_offers,omitempty"`
	Published *planForm      `json:"published,omitzero"`
}

// offerForm is a place that a customer was told and that is kept free.
type offerForm struct {
	ID     formID          `json:"id,omitzero"`
	Visits []heldVisitForm `json:"visits"`
}

type heldVisitForm struct {
	Stage        string        `json:"stage"`
	Crew         string        `json:"crew,omitzero"`
	ScaffoldFirm string        `json:"scaffold_firm,omitzero"`
	HalfDays     []formHalfDay `json:"half_days"`
}

// legForm is a distance by road between two places: crews or jobs by their refs.
type legForm struct {
	From string   `json:"from"`
	To   string   `json:"to"`
	Km   *float64 `json:"km"`
}

type crewForm struct {
	Ref         string       `json:"ref"`
	ID          formID       `json:"id,omitzero"`
	Trade       string       `json:"trade"`
	HomeLat     *float64     `json:"home_lat"`
	HomeLon     *float64     `json:"home_lon"`
	HalfDayCost *Pence       `json:"half_day_cost_pence"`
	Active      *bool        `json:"active"`
	Members     []memberForm `json:"members"`
}

type memberForm struct {
	ID       formID        `json:"id,omitzero"`
	Lead     *bool         `json:"lead"`
	Active   *bool         `json:"active"`
	From     formDay       `json:"from"`
	Until    formDay       `json:"until"`
	Absences []absenceForm `json:"absences,omitempty"`
	Skills   []skillForm   `json:"skills"`
}

type absenceForm struct {
	From  formDay `json:"from"`
	Until formDay `json:"until"`
}

type skillForm struct {
	Skill string  `json:"skill"`
	From  formDay `json:"from"`
	Until formDay `json:"until"`
}

type scaffoldForm struct {
	Ref           string   `json:"ref"`
	ID            formID   `json:"id,omitzero"`
	GangsPerDay   *int     `json:"gangs_per_day"`
	Sets          *int     `json:"sets"`
	ErectNotice   *int     `json:"erect_notice_working_days"`
	StrikeNotice  *int     `json:"strike_notice_working_days"`
	VisitPrice    *Pence   `json:"visit_price_pence"`
	IncludedWeeks *int     `json:"included_weeks"`
	WeeklyHire    *Pence   `json:"weekly_hire_pence"`
	Active        *bool    `json:"active"`
	DaysOff       []string `json:"days_off,omitempty"`
	YardLat       *float64 `json:"yard_lat,omitzero"` // these three together or none
	YardLon       *float64 `json:"yard_lon,omitzero"`
	ReachKm       *int     `json:"reach_km,omitzero"`
	CancelNotice  int      `json:"cancel_notice_working_days,omitzero"`
	CancelCharge  Pence    `json:"cancel_charge_pence,omitzero"`
	GustLimit     float64  `json:"gust_limit_ms,omitzero"`
}

type jobForm struct {
	Ref        string        `json:"ref"`
	ID         formID        `json:"id,omitzero"`
	State      string        `json:"state"`
	Site       formID        `json:"site_id,omitzero"`
	Lat        *float64      `json:"lat"`
	Lon        *float64      `json:"lon"`
	ReadyOn    formDay       `json:"ready_on"`
	PromisedOn formDay       `json:"promised_on"`
	Told       bool          `json:"promise_told,omitzero"`
	Stages     []stageForm   `json:"stages"`
	Consents   []consentForm `json:"consents,omitempty"`
	Kit        []kitForm     `json:"kit,omitempty"`
	Confirmed  []confirmForm `json:"customer_confirmed,omitempty"`
	Pins       []pinForm     `json:"pins,omitempty"`
}

// pinForm is what a person fixed about the job.
type pinForm struct {
	ID           formID  `json:"id,omitzero"`
	Pin          string  `json:"pin"`
	Stage        string  `json:"stage,omitzero"` // none = the whole job
	Crew         string  `json:"crew,omitzero"`
	ScaffoldFirm string  `json:"scaffold_firm,omitzero"`
	On           formDay `json:"on,omitzero"`
	Half         string  `json:"half,omitzero"` // am or pm
}

// confirmForm is a day that the customer confirmed for a stage.
type confirmForm struct {
	Stage string  `json:"stage"`
	On    formDay `json:"on"`
}

type stageForm struct {
	Stage     string  `json:"stage"`
	HalfDays  *int    `json:"half_days"`
	State     string  `json:"state"`
	StartedOn formDay `json:"started_on,omitzero"`
	DoneOn    formDay `json:"done_on,omitzero"`
}

type consentForm struct {
	Consent    string  `json:"consent"`
	Stage      string  `json:"stage"`
	State      string  `json:"state"`
	ExpectedOn formDay `json:"expected_on"`
	GrantedOn  formDay `json:"granted_on"`
}

type kitForm struct {
	Item      string  `json:"item"`
	DueOn     formDay `json:"due_on"`
	ArrivedOn formDay `json:"arrived_on"`
}

type bookingForm struct {
	Job          string  `json:"job"`
	ScaffoldFirm string  `json:"scaffold_firm"`
	UID          string  `json:"uid"`
	State        string  `json:"state"`
	ErectOn      formDay `json:"erect_on"`
	StrikeOn     formDay `json:"strike_on"`
	OfferedOn    formDay `json:"offered_on"`
}

// refusedForm is a day on which a scaffold firm cannot erect for a job.
type refusedForm struct {
	Job          string  `json:"job"`
	ScaffoldFirm string  `json:"scaffold_firm"`
	On           formDay `json:"on"`
}

type outlookForm struct {
	Site    string       `json:"site"`
	By      string       `json:"scaffold_firm,omitzero"` // whose own gust limit it keeps
	Task    string       `json:"task"`
	First   formHalfDay  `json:"first"`
	Chances []formChance `json:"chances"`
}

// planForm is a plan. Inside an instance, as the published one, it has neither
// form, version nor cost.
type planForm struct {
	Form      string        `json:"form,omitzero"`
	Version   *int          `json:"version,omitzero"`
	Facts     formHash      `json:"facts,omitzero"`
	ID        formID        `json:"id,omitzero"`
	Number    int           `json:"number,omitzero"`
	State     string        `json:"state,omitzero"`
	Base      formID        `json:"base,omitzero"`
	FirstDay  formDay       `json:"first_day"`
	Days      *int          `json:"days"`
	Seed      uint64        `json:"seed,omitzero"`
	Schedules int           `json:"schedules,omitzero"`
	Visits    []visitForm   `json:"visits"`
	LeftOut   []leftOutForm `json:"left_out"`
	Cost      *planCostForm `json:"cost,omitzero"`
}

type visitForm struct {
	Job          string        `json:"job"`
	Stage        string        `json:"stage"`
	Crew         string        `json:"crew,omitzero"`
	ScaffoldFirm string        `json:"scaffold_firm,omitzero"`
	HalfDays     []formHalfDay `json:"half_days"`
	Reserve      *int          `json:"reserve_half_days,omitzero"`
	Chance       formChance    `json:"chance,omitzero"`
	Why          string        `json:"why,omitzero"`
}

type leftOutForm struct {
	Job   string `json:"job"`
	Stage string `json:"stage"`
	Why   string `json:"why"`
}

type planCostForm struct {
	Total *Pence         `json:"total_pence"`
	Lines []costLineForm `json:"lines"`
}

type costLineForm struct {
	Item   string `json:"item"`
	Job    string `json:"job,omitzero"`
	Crew   string `json:"crew,omitzero"`
	Amount *Pence `json:"amount_pence"`
	Why    string `json:"why,omitzero"`
}

// formDay is a date as the file has it: 2026-12-03, or null when it is not
// known.
type formDay string

// The dates that a file may speak of; what is outside is a slip of the pen, and
// counting working days up to it would take long.
var (
	firstFormDay = civil.On(1970, time.January, 1)
	lastFormDay  = civil.On(2199, time.December, 31)
)

func dayForm(d civil.Date) formDay {
	if !d.Known() {
		return ""
	}
	return formDay(d.String())
}

func (d formDay) date() civil.Date {
	on, err := civil.Parse(string(d))
	if err != nil {
		return civil.NoDate
	}
	return on
}

// MarshalJSONTo writes the date, or null.
func (d formDay) MarshalJSONTo(e *jsontext.Encoder) error {
	if d == "" {
		return e.WriteToken(jsontext.Null)
	}
	return e.WriteToken(jsontext.String(string(d)))
}

// UnmarshalJSONFrom reads a date or null.
func (d *formDay) UnmarshalJSONFrom(in *jsontext.Decoder) error {
	text, null, err := textOrNull(in, wantFormDay)
	if err != nil || null {
		*d = ""
		return err
	}
	on, err := civil.Parse(text)
	if err != nil || on < firstFormDay || on > lastFormDay {
		return fault.Bad("", text, wantFormDay)
	}
	*d = formDay(text)
	return nil
}

const wantFormDay = "a date from 1970 to 2199 such as 2026-12-03, or null when it is not known"

// textOrNull reads a text or null; anything else is refused.
func textOrNull(in *jsontext.Decoder, want string) (text string, null bool, err error) {
	value, err := in.ReadValue()
	if err != nil {
		return "", false, err
	}
	switch value.Kind() {
	case 'n':
		return "", true, nil
	case '"':
		err := json.Unmarshal(value, &text)
		return text, false, err
	}
	return "", false, fault.Bad("", shortened(string(value)), want)
}

// shortened keeps what an error shows to a length that a person reads.
func shortened(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "..."
}

// formHalfDay is a half-day as the file has it: 2026-12-03 am.
type formHalfDay string

const wantFormHalfDay = "a half-day from 1970 to 2199 such as 2026-12-03 am or 2026-12-03 pm"

func halfDayForm(h civil.HalfDay) formHalfDay {
	return formHalfDay(h.Date().String() + [...]string{" am", " pm"}[h.Half()])
}

func (h formHalfDay) halfDay() (civil.HalfDay, bool) {
	day, half, _ := strings.Cut(string(h), " ")
	on, err := civil.Parse(day)
	if err != nil || on < firstFormDay || on > lastFormDay {
		return civil.NoHalfDay, false
	}
	switch half {
	case "am":
		return on.In(civil.Morning), true
	case "pm":
		return on.In(civil.Afternoon), true
	}
	return civil.NoHalfDay, false
}

// UnmarshalText reads a half-day.
func (h *formHalfDay) UnmarshalText(text []byte) error {
	if _, ok := formHalfDay(text).halfDay(); !ok {
		return fault.Bad("", shortened(string(text)), wantFormHalfDay)
	}
	*h = formHalfDay(text)
	return nil
}

// formInstant is an instant as RFC 3339 has it, in UTC, or null.
type formInstant time.Time

const wantInstant = "an instant from 1970 to 2199 such as 2026-12-03T07:15:00Z, or null"

// MarshalJSONTo writes the instant, or null.
func (at formInstant) MarshalJSONTo(e *jsontext.Encoder) error {
	if time.Time(at).IsZero() {
		return e.WriteToken(jsontext.Null)
	}
	return e.WriteToken(jsontext.String(time.Time(at).UTC().Format(time.RFC3339Nano)))
}

// UnmarshalJSONFrom reads an instant or null.
func (at *formInstant) UnmarshalJSONFrom(in *jsontext.Decoder) error {
	text, null, err := textOrNull(in, wantInstant)
	if err != nil || null {
		*at = formInstant{}
		return err
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if year := t.UTC().Year(); err != nil || year < 1970 || year > 2199 {
		return fault.Bad("", shortened(text), wantInstant)
	}
	*at = formInstant(t.UTC())
	return nil
}

// formID is an identifier, a UUID.
type formID uuid.UUID

// MarshalText writes the identifier.
func (id formID) MarshalText() ([]byte, error) { return uuid.UUID(id).MarshalText() }

// UnmarshalText reads an identifier as MarshalText writes it, and no other
// spelling.
func (id *formID) UnmarshalText(text []byte) error {
	got, err := uuid.ParseBytes(text)
	if err != nil || got.String() != string(text) {
		return fault.Bad("", shortened(string(text)), "an identifier (a UUID in small letters), or leave it out")
	}
	*id = formID(got)
	return nil
}

// formHash is a hash of facts, 64 hexadecimal digits.
type formHash [32]byte

// MarshalText writes the digits.
func (h formHash) MarshalText() ([]byte, error) { return []byte(hex.EncodeToString(h[:])), nil }

// UnmarshalText reads the digits.
func (h *formHash) UnmarshalText(text []byte) error {
	got, err := hex.DecodeString(string(text))
	if err != nil || len(got) != len(h) || strings.ToLower(string(text)) != string(text) {
		return fault.Bad("", shortened(string(text)), "64 hexadecimal digits in small letters, or leave it out")
	}
	*h = formHash(got)
	return nil
}

// formChance is a chance, above 0 and below 1; 0 stands for one that is not
// known and is null in the file.
type formChance float64

const wantChance = "a chance above 0 and below 1, or null when it is not known"

// MarshalJSONTo writes the chance, or null.
func (c formChance) MarshalJSONTo(e *jsontext.Encoder) error {
	if c == 0 {
		return e.WriteToken(jsontext.Null)
	}
	return e.WriteToken(jsontext.Float(float64(c)))
}

// UnmarshalJSONFrom reads a chance or null.
func (c *formChance) UnmarshalJSONFrom(in *jsontext.Decoder) error {
	value, err := in.ReadToken()
	if err != nil {
		return err
	}
	switch value.Kind() {
	case 'n':
		*c = 0
		return nil
	case '0':
		if p := value.Float(); p > 0 && p < 1 {
			*c = formChance(p)
			return nil
		}
	}
	return fault.Bad("", shortened(value.String()), wantChance)
}
