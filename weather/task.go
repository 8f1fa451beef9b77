package weather

import "toeboard/weather/fault"

// Task is a piece of work that the sky may forbid. The zero value is unknown,
// and an unknown task is never allowed.
type Task int

// The tasks. Roof work that fixes brackets and carries modules on the same
// half-day must keep the limits of both.
const (
	TaskUnknown      Task = iota
	ScaffoldErection      // building the scaffold
	ScaffoldStrike        // taking it down
	RoofCovering          // opening slates or tiles, brackets, flashings, rails
	PanelCarrying         // lifting, carrying and fixing modules
	LadderAccess          // going up and down a ladder, short work from it
	ExternalCable         // cable, isolators and clips on outside walls
	Rails                 // carrying and fixing rails, hooks in place
	PlatformWork          // from a mobile tower or a lifting platform
	Indoors               // loft, consumer unit, battery: no weather limit
	Outdoors              // in limits only: what holds for every task but Indoors
)

var tasks = [...]struct{ word, doing string }{
	TaskUnknown:      {"unknown", "an unknown task"},
	ScaffoldErection: {"scaffold_erection", "erecting scaffold"},
	ScaffoldStrike:   {"scaffold_strike", "striking scaffold"},
	RoofCovering:     {"roof_covering", "working on the roof covering"},
	PanelCarrying:    {"panel_carrying", "carrying modules"},
	LadderAccess:     {"ladder_access", "using a ladder"},
	ExternalCable:    {"external_cable", "running cable outside"},
	Rails:            {"rails", "fixing rails"},
	PlatformWork:     {"platform_work", "working from a tower or platform"},
	Indoors:          {"indoors", "working indoors"},
	Outdoors:         {"outdoors", "working outdoors"},
}

// OutdoorTasks gives every task that has weather limits.
func OutdoorTasks() []Task {
	return []Task{ScaffoldErection, ScaffoldStrike, RoofCovering, PanelCarrying, LadderAccess, ExternalCable, Rails, PlatformWork}
}

// Outdoor reports whether the task is one that has weather limits.
func (t Task) Outdoor() bool { return t >= ScaffoldErection && t <= PlatformWork }

// like gives the task whose limits hold where a firm's limits were set before
// there was this one.
func (t Task) like() Task {
	switch t {
	case Rails:
		return RoofCovering
	case PlatformWork:
		return LadderAccess
	default:
		return t
	}
}

func (t Task) index() Task {
	if t > TaskUnknown && int(t) < len(tasks) {
		return t
	}
	return TaskUnknown
}

// String gives the task's word as limit files and JSON write it.
func (t Task) String() string { return tasks[t.index()].word }

// Doing gives the task as a sentence has it: "carrying modules".
func (t Task) Doing() string { return tasks[t.index()].doing }

// MarshalText writes the task as its word.
func (t Task) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText reads what MarshalText writes; an unknown word is an error.
func (t *Task) UnmarshalText(b []byte) error {
	*t = TaskUnknown
	for i, known := range tasks {
		if known.word == string(b) {
			*t = Task(i)
			return nil
		}
	}
	return fault.Bad("task", string(b), "one of scaffold_erection, scaffold_strike, roof_covering, panel_carrying, ladder_access, external_cable, rails, platform_work, indoors, outdoors")
}
