package api

import (
	"context"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// FitnessInput is what is declared. PIN is the person's own: where somebody else
// holds the phone, nobody else's word takes a person out of those who must sign,
// or back among them.
type FitnessInput struct {
	Person uuid.UUID
	Day    civil.Date
	Fit    bool
	PIN    string
}

// DeclareFitness keeps whether somebody is fit for work today: their own word,
// signed in or by their PIN on the phone of their crew's lead. The office keeps
// without one that somebody rang and does not come.
func (s *Service) DeclareFitness(ctx context.Context, by Caller, id uuid.UUID, in FitnessInput) error {
	if today := civil.DateOf(s.now(), by.Location); in.Day != today {
		return fault.Bad("day", in.Day.String(), "today, "+today.String())
	}
	if in.Person != by.Person && (in.Fit || !may(by.Role, ChangePeople)) {
		if err := s.ownWord(ctx, by, in); err != nil {
			return err
		}
	}
	return s.safety.DeclareFitness(ctx, by.Firm, safety.Fitness{ID: id, Person: in.Person, Day: in.Day, Fit: in.Fit, By: by.Person, At: s.now()})
}

// ownWord wants the PIN of somebody whose crew the caller leads, or of anybody
// in the office's presence.
func (s *Service) ownWord(ctx context.Context, by Caller, in FitnessInput) error {
	crews, err := s.schedule.Crews(ctx, by.Firm)
	if err != nil {
		return err
	}
	for _, k := range crews {
		_, leads := inCrew(k, by.Person, in.Day)
		for _, m := range k.Members {
			if m.Person.ID == in.Person && m.On(in.Day) && (leads || may(by.Role, ChangePeople)) {
				return s.checkPIN(ctx, by.Firm, in.Person, m.Person.Name, in.PIN)
			}
		}
	}
	return &fault.Error{Kind: fault.Forbidden, Field: "fitness", Want: "one's own word, on one's own phone or on that of one's crew lead"}
}
