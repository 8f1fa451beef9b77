package schedule

import (
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// BookingState is where a scaffold booking stands.
type BookingState string

// The states of a booking.
const (
	BookingWanted    BookingState = "wanted"
	BookingSent      BookingState = "sent"
	BookingConfirmed BookingState = "confirmed"
	BookingCountered BookingState = "countered" // the scaffold firm offered another day
	BookingErected   BookingState = "erected"
	BookingStruck    BookingState = "struck"
	BookingCancelled BookingState = "cancelled"
)

// Booking is one scaffold on one job, from erection to strike. Its UID is for
// life and its Sequence only rises.
type Booking struct {
	ID           uuid.UUID
	Job          uuid.UUID
	ScaffoldFirm uuid.UUID
	UID          string
	State        BookingState
	ErectOn      civil.Date
	StrikeOn     civil.Date // the day it comes down, inclusive
	Sequence     int
	OfferedOn    civil.Date // only when countered
	ChangedAt    time.Time
}

// BookingChange is one booking made, moved or cancelled, and why.
type BookingChange struct {
	Before *Booking // nil = new
	After  Booking
	Why    string // one sentence for the scaffold firm
}
