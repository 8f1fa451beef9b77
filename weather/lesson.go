package weather

import "time"

// Lesson is what kept forecasts were worth: all of them, and by lead day.
type Lesson struct {
	Since     time.Time    `json:"since"`     // UTC; forecasts fetched from then on
	Sites     int          `json:"sites"`     // at which there was something to learn
	Forecasts int          `json:"forecasts"` // that were read
	Readings  int          `json:"readings"`  // of the wind by crews, that were held against them
	All       Score        `json:"all"`
	ByLead    []LeadLesson `json:"by_lead"` // of the lead days for which there is any
}

// LeadLesson is the part of a Lesson for one lead day.
type LeadLesson struct {
	Lead  int     `json:"lead"` // [days]
	Score Score   `json:"score"`
	Bins  []Bin   `json:"bins"`
	Keep  float64 `json:"keep"` // share of a chance's distance from the climate that is kept
}

// lessonBins is how many points a reliability diagram has.
const lessonBins = 5

// Teach scores outcomes and learns from them.
func Teach(list []Outcome) (Lesson, Shrinkage) {
	learnt := Learn(list)
	lesson := Lesson{All: BrierScore(list)}
	of := [leadsLearnt][]Outcome{}
	for _, o := range list {
		lead := min(max(o.Lead, 0), leadsLearnt-1)
		of[lead] = append(of[lead], o)
	}
	for lead, some := range of {
		if len(some) > 0 {
			lesson.ByLead = append(lesson.ByLead, LeadLesson{Lead: lead, Score: BrierScore(some), Bins: ReliabilityDiagram(some, lessonBins), Keep: learnt.Keep[lead]})
		}
	}
	return lesson, learnt
}
