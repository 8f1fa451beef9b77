// Package schedule says when: jobs and their stages, crews and scaffold firms,
// consents, plans and what they cost, bookings. What it decides it decides from
// a Snapshot, as data, and gives back data.
package schedule

import (
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// StageKind is one step of the chain that makes an installation.
type StageKind int

// The stages, in the order in which they are drawn. The zero value is none.
const (
	StageUnknown StageKind = iota
	ScaffoldErection
	RoofWork
	FirstFix
	SecondFix
	Commissioning
	ScaffoldStrike
)

// StageKinds lists every stage in order.
var StageKinds = []StageKind{ScaffoldErection, RoofWork, FirstFix, SecondFix, Commissioning, ScaffoldStrike}

var stageNames = map[StageKind]struct{ key, words string }{
	ScaffoldErection: {"scaffold_erection", "scaffold erection"},
	RoofWork:         {"roof_work", "roof work"},
	FirstFix:         {"first_fix", "first fix"},
	SecondFix:        {"second_fix", "second fix"},
	Commissioning:    {"commissioning", "commissioning"},
	ScaffoldStrike:   {"scaffold_strike", "scaffold strike"},
}

// Key is the stage's name in the database, in files and in the contract.
func (k StageKind) Key() string { return stageNames[k].key }

// String writes the stage in words.
func (k StageKind) String() string {
	if n, ok := stageNames[k]; ok {
		return n.words
	}
	return "unknown stage"
}

// StageFromKey reads what Key writes.
func StageFromKey(key string) (StageKind, error) {
	for _, k := range StageKinds {
		if k.Key() == key {
			return k, nil
		}
	}
	return StageUnknown, fault.Bad("stage", key, "one of scaffold_erection, roof_work, first_fix, second_fix, commissioning, scaffold_strike")
}

// MarshalText writes the key.
func (k StageKind) MarshalText() ([]byte, error) { return []byte(k.Key()), nil }

// UnmarshalText reads the key.
func (k *StageKind) UnmarshalText(b []byte) error {
	got, err := StageFromKey(string(b))
	if err != nil {
		return err
	}
	*k = got
	return nil
}

// Trade is who does a stage.
type Trade int

// The trades. Scaffold work is done by a scaffold firm's gang, not by a crew.
const (
	TradeUnknown Trade = iota
	RoofTrade
	ElectricalTrade
	ScaffoldTrade
)

// Key is the trade's name in the database.
func (t Trade) Key() string {
	return [...]string{"", "roof", "electrical", "scaffold"}[t]
}

// String writes the trade in words.
func (t Trade) String() string {
	return [...]string{"unknown trade", "roof", "electrical", "scaffold"}[t]
}

// TradeFromKey reads what Key writes.
func TradeFromKey(key string) (Trade, error) {
	for _, t := range []Trade{RoofTrade, ElectricalTrade, ScaffoldTrade} {
		if t.Key() == key {
			return t, nil
		}
	}
	return TradeUnknown, fault.Bad("trade", key, "roof or electrical")
}

// Trade tells who does the stage.
func (k StageKind) Trade() Trade {
	switch k {
	case RoofWork:
		return RoofTrade
	case FirstFix, SecondFix, Commissioning:
		return ElectricalTrade
	case ScaffoldErection, ScaffoldStrike:
		return ScaffoldTrade
	default:
		return TradeUnknown
	}
}

// Task tells which weather limits the stage is held against; weather.Indoors
// for stages that are done under the roof.
func (k StageKind) Task() weather.Task {
	switch k {
	case ScaffoldErection:
		return weather.ScaffoldErection
	case ScaffoldStrike:
		return weather.ScaffoldStrike
	case RoofWork:
		return weather.PanelCarrying // the tightest of the roof's tasks
	case FirstFix, SecondFix, Commissioning:
		return weather.Indoors
	default:
		return weather.TaskUnknown
	}
}

// After lists the stages that must be finished before this one starts (common
// practice, no source): the roof needs the scaffold; second fix needs the cable
// routes; commissioning needs roof and second fix; the scaffold goes only after
// the roof is finished and looked over.
func (k StageKind) After() []StageKind {
	switch k {
	case RoofWork:
		return []StageKind{ScaffoldErection}
	case SecondFix:
		return []StageKind{FirstFix}
	case Commissioning:
		return []StageKind{RoofWork, SecondFix}
	case ScaffoldStrike:
		return []StageKind{RoofWork}
	default:
		return nil
	}
}

// StageState is how far a stage has come.
type StageState int

// The states.
const (
	StatePlanned StageState = iota
	StateStarted
	StateDone
)

// Key is the state's name in the database.
func (s StageState) Key() string { return [...]string{"planned", "started", "done"}[s] }

// Stage is one step of one job.
type Stage struct {
	Kind      StageKind
	HalfDays  int // working half-days it takes, 1 to 40
	State     StageState
	StartedOn civil.Date // NoDate unless started or done
	DoneOn    civil.Date // NoDate unless done
}
