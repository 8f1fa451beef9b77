package api

import "toeboard/migrations/outbox"

// What the rounds write into the outbox, by names of this room: only stores know
// the outbox itself.
type (
	outMessage = outbox.Message
	outLetter  = outbox.Letter
	outFact    = outbox.Fact
	outLink    = outbox.Link
	outKind    = outbox.Kind
)

const (
	crewEvening   = outbox.CrewEvening
	crewMorning   = outbox.CrewMorning
	crewTurn      = outbox.CrewTurn
	officeDue     = outbox.OfficeDue
	customerDates = outbox.CustomerDates
	signedHead    = outbox.SignedHead
	callMissed    = outbox.CallMissed
)
