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

// SetHeadRecipient sets to whom the signed head is mailed each night; without
// name and address to nobody.
func (s *Service) SetHeadRecipient(ctx context.Context, by Caller, r safety.HeadRecipient) (safety.HeadRecipient, error) {
	r.SetBy, r.SetAt = by.Name, s.now()
	return s.safety.SetHeadRecipient(ctx, by.Firm, r)
}

// ExportRecord writes the firm's record, or one job's part of it, as far as a
// signed head covers it.
func (s *Service) ExportRecord(ctx context.Context, firm uuid.UUID, scope safety.RecordScope, out io.Writer) error {
	return s.safety.ExportRecord(ctx, firm, scope, s.now(), out)
}
