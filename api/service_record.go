package api

import (
	"context"
	"io"

	"github.com/google/uuid"

	"toeboard/safety"
)

// SignHead signs the firm's log of records as it is now. A head of the same log
// that is younger than twelve hours is given instead of a new one, so that it is
// safe to call as often as one likes; its text is what is worth mailing out of
// the house.
func (s *Service) SignHead(ctx context.Context, firm uuid.UUID) (safety.SignedHead, error) {
	return s.safety.SignHead(ctx, firm, s.now())
}

// ExportRecord writes the firm's record, or one job's part of it.
func (s *Service) ExportRecord(ctx context.Context, firm uuid.UUID, scope safety.RecordScope, out io.Writer) error {
	return s.safety.ExportRecord(ctx, firm, scope, s.now(), out)
}
