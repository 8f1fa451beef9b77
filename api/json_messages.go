package api

import (
	"context"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
)

// ListMessages gives what was told to whom.
func (j *jsonServer) ListMessages(ctx context.Context, _ ListMessagesRequestObject) (ListMessagesResponseObject, error) {
	c := callerOf(ctx)
	all, err := j.Messages(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	there := j.mail.Post != nil
	return ListMessages200JSONResponse{MailServer: there, Messages: mapped(all, func(m message) Message { return messageView(m, there, c.Location) })}, nil
}

func messageView(m message, mailServer bool, zone *time.Location) Message {
	booking, _ := schedule.BookingOfTopic(m.Topic)
	v := Message{
		ID: m.ID, Kind: string(m.Kind), Sequence: m.Sequence, To: m.ToName, Address: m.ToAddress, Subject: m.Letter.Subject, MessageID: m.MailID,
		State: MessageState(m.State), Words: messageWords(m, mailServer, zone), Says: optionalText(m.Says), Tries: m.Tries, CausedBy: m.CausedBy,
		WrittenAt: m.WrittenAt, SentAt: optionalTime(m.SentAt),
	}
	if booking != uuid.Nil {
		v.BookingID = &booking
	}
	return v
}

// SendMessageAgain lets a message leave once more.
func (j *jsonServer) SendMessageAgain(ctx context.Context, r SendMessageAgainRequestObject) (SendMessageAgainResponseObject, error) {
	c := callerOf(ctx)
	if _, err := j.SendAgain(ctx, c.Firm, r.MessageID, c.Name); err != nil {
		return nil, err
	}
	return SendMessageAgain204Response{}, nil
}
