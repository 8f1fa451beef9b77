package api

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/safety/paper"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Pack puts one crew's papers at one job on one day together: of the newest
// decision that was kept for them or, where none was or a clear one does not hold
// any more, of how things stand now, which the paper says.
func (s *Service) Pack(ctx context.Context, by Caller, crew uuid.UUID, jobRef string, day civil.Date) (paper.Pack, error) {
	f, err := s.schedule.Firm(ctx, by.Firm)
	if err != nil {
		return paper.Pack{}, err
	}
	crews, err := s.schedule.Crews(ctx, by.Firm)
	if err != nil {
		return paper.Pack{}, err
	}
	allowed := error(fault.Missing("crew", crew.String()))
	for _, k := range crews {
		if k.ID == crew {
			allowed = ownCrew(by, k, day)
		}
	}
	if allowed != nil {
		return paper.Pack{}, allowed
	}
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return paper.Pack{}, err
	}
	k, err := s.safety.NewestDecision(ctx, by.Firm, crew, j.ID, day)
	if err == nil && clears(k.Decision, s.now()) {
		// A decision that clears something, and whose time still runs, may have been
		// overtaken, by a stop for instance: what is printed now must not say that it
		// is clear.
		m, err := s.Morning(ctx, by.Firm, crew, jobRef, day)
		if err != nil {
			return paper.Pack{}, err
		}
		if !stillClear(k.Decision, m.Decision) {
			return paper.New(f.Name, m.Snapshot, m.Decision, ""), nil
		}
	}
	if err == nil {
		p := paper.New(f.Name, k.Snapshot, k.Decision, s.baseURL+paperHref(k.ID)+"?facts="+k.Hash.String())
		p.Hash = k.Hash // as it was kept, whatever became of the facts since
		return p, nil
	}
	if fault.KindOf(err) != fault.NotFound {
		return paper.Pack{}, err
	}
	m, err := s.Morning(ctx, by.Firm, crew, jobRef, day)
	if err != nil {
		return paper.Pack{}, err
	}
	return paper.New(f.Name, m.Snapshot, m.Decision, ""), nil
}

// clears tells whether a decision still says of the day or of a part of it that
// it is clear.
func clears(d safety.Decision, now time.Time) bool {
	return d.Verdict == safety.Clear && now.Before(d.Until) ||
		slices.ContainsFunc(d.ClearFor, func(c safety.ClearStage) bool { return now.Before(c.Until) })
}

// stillClear tells whether all that was clear is so now.
func stillClear(was, is safety.Decision) bool {
	if is.Verdict == safety.Clear {
		return true
	}
	return was.Verdict != safety.Clear && !slices.ContainsFunc(was.ClearFor, func(c safety.ClearStage) bool {
		return !slices.ContainsFunc(is.ClearFor, func(o safety.ClearStage) bool { return o.Stage == c.Stage })
	})
}

// paperHref is where the code on a paper leads.
func paperHref(decision uuid.UUID) string { return "/record/decision/" + decision.String() }

// KeptPaper is what there is to say about a paper: the decision it was printed
// from, and the proof of its record.
type KeptPaper struct {
	Kept  safety.KeptDecision
	Proof safety.RecordProof
}

// PaperOf finds the decision that a paper names, with the proof of its record.
func (s *Service) PaperOf(ctx context.Context, firm, decision uuid.UUID) (KeptPaper, error) {
	k, err := s.safety.DecisionKept(ctx, firm, decision)
	if err != nil {
		return KeptPaper{}, err
	}
	seq, err := s.safety.EntryOf(ctx, firm, "decision", decision.String())
	if err != nil {
		return KeptPaper{}, err
	}
	proof, err := s.safety.ProveRecord(ctx, firm, seq)
	return KeptPaper{k, proof}, err
}
