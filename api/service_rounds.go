package api

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// roundTime is how long one round may take.
const roundTime = 3 * time.Minute

// roundWork is a round and what is done in it. prepare reads and decides; what
// it gives is told in the transaction that ends the round, so it is told once
// however often a worker dies.
type roundWork struct {
	Round
	prepare func(ctx context.Context, firm uuid.UUID, on civil.Date) ([]telling, error)
}

// telling is one thing that a round tells: a message, a note on phones, or both.
// Sequence is filled in by whoever writes it.
type telling struct {
	outMessage
	once   bool        // its topic is told a single time, whoever comes to tell it
	people []uuid.UUID // whose phones show note
	note   *Note
}

// StartRounds begins the rounds of a firm that are due and have not begun. It is
// called each minute, by every instance.
func (s *Service) StartRounds(ctx context.Context, firm uuid.UUID) error {
	_, zone, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return err
	}
	now := s.now()
	begun, err := s.roundsBegun(ctx, firm, civil.DateOf(now, zone))
	if err != nil {
		return err
	}
	for _, r := range s.rounds {
		on, due := r.dueDate(now, zone)
		if !due || begun[r.Kind] {
			continue
		}
		if _, err := s.beginRound(ctx, firm, r.Kind, on, now); err != nil {
			return err
		}
	}
	return nil
}

// workRound does one round. A kind that this program does not know is another
// version's, and waits for it.
func (s *Service) workRound(ctx context.Context, firm, id uuid.UUID) error {
	kind, on, err := s.roundOf(ctx, firm, id)
	if err != nil {
		return err
	}
	for _, r := range s.rounds {
		if r.Kind != kind {
			continue
		}
		tell, err := r.prepare(ctx, firm, on)
		if err != nil {
			return fmt.Errorf("the %s round of %s: %w", kind, on, err)
		}
		s.at("round: prepared")
		return s.endRound(ctx, firm, id, s.now(), counted(len(tell), "thing told", "things told"), s.tell(firm, tell, "the "+r.words+" round"))
	}
	return fmt.Errorf("this program knows no %s round", kind)
}
