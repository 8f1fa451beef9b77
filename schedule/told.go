package schedule

// A told stage is one of a crew that has not begun and whose day a person fixed:
// a pin of its start or its day, such as those of an offer that a customer took.
// No saving is reason to leave it out: of two plans the one that leaves out fewer
// told stages is the better, whatever they cost. MODEL.md section 4 says so; the
// kernel has it as Vital, and whoever compares two plans asks better.

// Tells tells whether a pin makes its stage a told one.
func (p *Pin) Tells() bool {
	return (p.Kind == PinStart || p.Kind == PinOn) && p.Stage.Trade() != ScaffoldTrade && p.Stage != StageUnknown
}

// told tells whether a stage of the job is one.
func (w *work) told(k StageKind) bool {
	if !w.planned(k) {
		return false
	}
	for _, p := range w.pins {
		if p.Tells() && p.Stage == k {
			return true
		}
	}
	return false
}

// toldLeftOut counts the told stages that have no visit in a plan.
func (s *Snapshot) toldLeftOut(p *Plan) (n int) {
	told := s.toldStages()
	if len(told) == 0 {
		return 0
	}
	for _, v := range p.Visits {
		if len(v.HalfDays) > 0 {
			delete(told, visitKey{v.Job, v.Stage})
		}
	}
	return len(told)
}

// toldStages lists the told stages of all open jobs.
func (s *Snapshot) toldStages() map[visitKey]bool {
	told := map[visitKey]bool{}
	for i := range s.Pins {
		if p := &s.Pins[i]; p.Tells() {
			told[visitKey{p.Job, p.Stage}] = false
		}
	}
	if len(told) == 0 {
		return nil
	}
	for i := range s.Jobs {
		for _, st := range s.Jobs[i].Stages {
			key := visitKey{s.Jobs[i].ID, st.Kind}
			if _, pinned := told[key]; pinned && s.Jobs[i].State == JobOpen && st.State == StatePlanned {
				told[key] = true
			}
		}
	}
	for key, open := range told {
		if !open {
			delete(told, key)
		}
	}
	return told
}

// better tells whether a plan is better than another of the same snapshot: it
// leaves out fewer told stages, or as many and costs less.
func (s *Snapshot) better(p, than *Plan) bool {
	if a, b := s.toldLeftOut(p), s.toldLeftOut(than); a != b {
		return a < b
	}
	return p.Cost.Total < than.Cost.Total
}
