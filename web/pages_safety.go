package web

import "time"

// AssessmentPage is one job's risk assessment, whole: what the version in force
// says, what is not known, what was seen on site, every version.
//
// The answers send one field a fact, named fact_KEY, with key. A hazard seen on
// site sends about, site_name, seen, who, stages, before_l, before_s, after_l,
// avoid, prevent, mitigate, evidence, file (a photo) and key, as
// multipart/form-data; the severity with controls is that without. Taking one
// away sends why and key. Issuing sends key, approving assessment and key.
type AssessmentPage struct {
	Sheet
	Ref, Href     string // of the job
	Address       string
	Assessment    *Assessment // the newest version; nil = none issued
	Evidence      []HazardEvidence
	Method        []MethodStage
	Emergency     []Pair
	Aside         []Pair   // hazards that the firm put aside, and why
	Cautions      []string // of the assessment
	Library       string   // what it was made by
	Likelihood    []ScaleStep
	Severity      []ScaleStep
	Bands         []Pair
	Pending       []string // what a new version would say otherwise, in words
	ChangesHref   string   // the page of differences; "" = nothing to compare
	SumsHref      string
	Versions      []VersionRow // the newest first
	Open, Known   []FactInput
	AnswersAction string // POST; "" = may not
	Answered      []Pair // who answered what, the newest first
	Seen          []SeenRow
	SeeAction     string // POST; "" = may not
	See           SeenForm
	Abouts        []Choice // hazards that more controls may be for
	Stages        []Choice
	IssueAction   string
	ApproveAction string
}

// Question is what the page answers.
func (AssessmentPage) Question() string { return "What can hurt somebody on this job?" }
func (AssessmentPage) template() string { return "assessment" }

// Pair is a label with what it says.
type Pair struct {
	Label, Say string
}

// HazardEvidence is what shows that one hazard's controls are in place.
type HazardEvidence struct {
	Code, Say string
	Photos    []PhotoLink
}

// PhotoLink leads to a kept photo.
type PhotoLink struct {
	AsSent    string // address of the file as it was sent; "" = may not
	Href, Sum string // Sum: the first digits of its SHA-256
}

// MethodStage is what is done in one stage.
type MethodStage struct {
	Stage string
	Steps []string
}

// ScaleStep is one step of a scale with its meaning.
type ScaleStep struct {
	Step          int
	Word, Meaning string
}

// VersionRow is one issued version.
type VersionRow struct {
	Version  int
	By       string
	At       time.Time
	Approved string // by whom; "" = not
	Hash     string // the first digits
	Changes  string // the page of what it changed; "" = it is the first
}

// FactInput asks for one fact.
type FactInput struct {
	Key, Ask, Unit string
	Kind           string   // yes_no, number, word or text
	Choices        []Choice // of a word
	Value          string   // "" = not known
	For            string   // what waits for it
}

// Name is the input's name.
func (f FactInput) Name() string { return "fact_" + f.Key }

// SeenRow is one hazard seen on site.
type SeenRow struct {
	Code, What, Why, By string
	At                  time.Time
	Photo               PhotoLink // Href "" = none
	RemoveAction        string    // POST; "" = may not
}

// SeenForm is what the form of a hazard seen on site shows.
type SeenForm struct {
	About, Name, Seen, Who, Evidence string
	Stages                           []string
	BeforeL, BeforeS, AfterL         string
	Avoid, Prevent, Mitigate         string
}

// HasStage tells whether a stage is chosen.
func (f SeenForm) HasStage(key string) bool {
	for _, s := range f.Stages {
		if s == key {
			return true
		}
	}
	return false
}

// Steps are 1 to 5, for the selects of the matrix.
func (AssessmentPage) Steps() []string { return []string{"1", "2", "3", "4", "5"} }

// SeeSent tells whether the form of a hazard seen on site came back.
func (p AssessmentPage) SeeSent() bool {
	for _, f := range p.Faults {
		switch f.Field {
		case "about", "site_name", "seen", "who", "stages", "before", "after", "controls", "evidence", "file":
			return true
		}
	}
	return false
}

// KnownSent tells whether an answer to a known fact came back.
func (p AssessmentPage) KnownSent() bool {
	for _, k := range p.Known {
		if p.FaultOf(k.Name()) != "" {
			return true
		}
	}
	return false
}

// AssessmentChanges is what one version of an assessment says otherwise than
// another. The form asks with from and to.
type AssessmentChanges struct {
	Sheet
	Ref, Href string
	Action    string // GET
	From, To  string // "0" = what would be issued now
	Froms     []Choice
	Tos       []Choice
	Rows      []string // in words
	Words     string   // "from version 2 to version 3"
}

// Question is what the page answers.
func (AssessmentChanges) Question() string { return "What did this version change?" }
func (AssessmentChanges) template() string { return "assessment_changes" }

// Sums are the sums of a job. The form asks with the inputs' keys.
type Sums struct {
	Sheet
	Ref, Href string
	Action    string // GET
	Rows      []SumRow
	Caution   string
}

// SumRow is one sum with the inputs that may be changed.
type SumRow struct {
	Key, Title, Result string
	Limit, Says        string
	State              State
	Word               string // "inside", "outside", "not yet", or pass, fail
	Source             string
	Used               []Pair // what went in
	Inputs             []SumInput
	Open               bool // one of its inputs came back with something wrong
}

// SumInput is one number or word that goes into a sum.
type SumInput struct {
	Key, Name, Unit, Value string
	Choices                []Choice
}

// Question is what the page answers.
func (Sums) Question() string { return "What do the sums for this job say?" }
func (Sums) template() string { return "sums" }

// ScaffoldFile is everything about one job's scaffold. A remedy sends done,
// done_by, done_on, done_at and key; a delivery given_to, given_on, given_at and
// key.
type ScaffoldFile struct {
	Sheet
	Ref, Href  string
	Tag        State
	TagWords   string // "may be used until Mon 30 Nov 07:40", "do not use"
	TagWhy     string
	EventGust  string // "17.2 m/s"
	Duties     []DutyRow
	Reports    []ReportRow
	Events     []ScaffoldEvent
	ReportHref string // where a report is written; "" = may not
}

// DutyRow is one thing that the regulations ask, with its clock.
type DutyRow struct {
	Rule, Says, Source string
	State              State
	Word               string // "in time", "late", "to do"
}

// ReportRow is one report with what became of it.
type ReportRow struct {
	ID             string
	Report         ScaffoldReport
	Remedies       []Pair // by whom and when; what was done
	Delivered      string // "to Firm, Mon 30 Nov 08:00"; "" = not recorded
	Finding        string // what it leaves open; "" = nothing
	RemedyAction   string // POST; "" = may not
	DeliveryAction string // POST; "" = may not
	Today, Now     string // what the forms begin with
}

// Question is what the page answers.
func (ScaffoldFile) Question() string { return "May this scaffold be used?" }
func (ScaffoldFile) template() string { return "scaffold_file" }

// Hazards shows the hazard library and what the firm set beside it. Its forms
// send change (own, override, gust, remove), version, why and key; an own hazard
// id, name, when, stages, who, before_l, before_s, after_l, avoid, prevent,
// mitigate, evidence, source; an override hazard, also, off, before_l, before_s,
// after_l, avoid, prevent, mitigate; gust event_gust_ms; remove hazard.
type Hazards struct {
	Sheet
	Action    string // "" = may not change them
	Version   int    // of what the firm set; 0 = nothing
	Library   string
	Rows      []LibraryRow
	EventGust string // [m/s]
	UsualGust string
	Before    []RatesBefore // versions, the newest first
	Stages    []Choice
	Facts     []Pair // key and meaning, for rules
	Typed     HazardForm
	Matrix    RiskMatrix // in force
	Form      RiskMatrix // as typed, or what is in force with rows to spare
}

// RiskMatrix is what scores mean and which are accepted. Its form: for each step
// likelihood_<n>_word, likelihood_<n>_meaning, severity_<n>_word and
// severity_<n>_meaning, for each band band_<n>_to (empty = no such band),
// band_<n>_word, band_<n>_action and band_<n>_stops (yes), why, version, key.
type RiskMatrix struct {
	Likelihood, Severity []RiskStep
	Bands                []RiskBand
	Own                  bool     // the firm set it
	Looser               []string // what it lets pass that the service's own stops, in sentences
}

// RiskStep is one step of a scale.
type RiskStep struct{ Step, Word, Meaning, Source string }

// RiskBand is one range of scores.
type RiskBand struct {
	No, From, To, Word, Action, Source string
	Stops                              bool
}

// HazardForm is what was typed into one of the forms.
type HazardForm struct {
	Change, ID, Name, When, Who, Source, Why string
	Stages                                   []string
	BeforeL, BeforeS, AfterL                 string
	Avoid, Prevent, Mitigate, Evidence       string
	Hazard, Also, Gust                       string
	Off                                      bool
}

// HasStage tells whether a stage is chosen.
func (f HazardForm) HasStage(key string) bool { return SeenForm{Stages: f.Stages}.HasStage(key) }

// LibraryRow is one hazard of the library.
type LibraryRow struct {
	Hazard
	When     string // the trigger in words
	Rule     string // as it is written
	Stages   string
	Evidence string
	Note     string // "the firm's own", "the firm sees it otherwise: ...", "put aside: ..."
	Own      bool   // or overridden: it can be taken back
}

// Steps are 1 to 5, for the selects of the matrix.
func (Hazards) Steps() []string { return []string{"1", "2", "3", "4", "5"} }

// Question is what the page answers.
func (Hazards) Question() string { return "Which hazards do we look for, and why?" }
func (Hazards) template() string { return "hazards" }
