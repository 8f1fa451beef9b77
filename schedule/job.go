package schedule

import (
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// Customer is whose house it is and who was promised a date.
type Customer struct {
	ID    uuid.UUID
	Name  string
	Email string
	Phone string
}

// Site is one roof.
type Site struct {
	ID             uuid.UUID
	Address        string
	Postcode       string
	Lat, Lon       float64        // [degrees] WGS 84
	Terrain        string         // EN 1991-1-4 table 4.1: "0", "I", "II", "III", "IV"
	WorkingHeightM float64        // [m] above ground of the highest work
	Facts          map[string]any // what the survey found; a missing key is not known
}

// JobState is whether a job is still to be planned.
type JobState string

// The states of a job.
const (
	JobOpen      JobState = "open"
	JobDone      JobState = "done"
	JobCancelled JobState = "cancelled"
)

// Job is one installation.
type Job struct {
	ID          uuid.UUID
	Ref         string // the firm's own reference, unique in the firm
	State       JobState
	Customer    Customer
	Site        Site
	Modules     int        // 1 to 200
	ModuleWatts int        // [W] rated, each
	ModuleKg    float64    // [kg] each
	ModuleM2    float64    // [m2] each
	ReadyOn     civil.Date // not before this day; NoDate = any day
	PromisedOn  civil.Date // the day by which it is to be commissioned; NoDate = none
	PromiseTold bool       // the customer was told that day
	Note        string
	Stages      []Stage // in the order of StageKinds
	Consents    []Consent
	Kit         []Kit
	Confirmed   []Confirmation // by stage, one each
	CreatedAt   time.Time
}

// Confirmation is the customer's word that somebody may come for a stage on a
// day. It holds for an appointment that begins on that day and for no other:
// once another day is published, it says nothing any more.
type Confirmation struct {
	Stage StageKind
	On    civil.Date
}

// ConfirmedFor gives the day that the customer confirmed for a stage; NoDate =
// none.
func (j *Job) ConfirmedFor(k StageKind) civil.Date {
	for _, c := range j.Confirmed {
		if c.Stage == k {
			return c.On
		}
	}
	return civil.NoDate
}

// Stage gives the job's stage of a kind; ok is false when the job has none.
func (j *Job) Stage(k StageKind) (s Stage, ok bool) {
	for _, s := range j.Stages {
		if s.Kind == k {
			return s, true
		}
	}
	return Stage{}, false
}

// ConsentKind is a permission from outside.
type ConsentKind string

// The consents.
const (
	GridConnection  ConsentKind = "grid_connection"
	BuildingControl ConsentKind = "building_control"
	Planning        ConsentKind = "planning"
	Landlord        ConsentKind = "landlord"
	HighwayLicence  ConsentKind = "highway_licence"
)

// ConsentState is how far a consent has come.
type ConsentState string

// The states of a consent.
const (
	ConsentWanted  ConsentState = "wanted"
	ConsentApplied ConsentState = "applied"
	ConsentGranted ConsentState = "granted"
	ConsentRefused ConsentState = "refused"
)

// Consent is a permission from outside that a stage waits for. A stage may not
// be planned before the day a consent was granted or is expected; with neither
// known it cannot be planned at all.
type Consent struct {
	Kind       ConsentKind
	Stage      StageKind // the stage that waits
	State      ConsentState
	ExpectedOn civil.Date
	GrantedOn  civil.Date
}

// Kit is something that must be on site before the roof work or the second fix.
type Kit struct {
	Item      string
	Quantity  int
	DueOn     civil.Date // NoDate = not ordered with a date
	ArrivedOn civil.Date // NoDate = not arrived
}
