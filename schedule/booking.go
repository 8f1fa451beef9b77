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
	BookingRefused   BookingState = "refused"   // the scaffold firm cannot do the day and offered no other
	BookingErected   BookingState = "erected"   // it is up and handed over
	BookingInspected BookingState = "inspected" // and an inspector has seen it
	BookingOffHire   BookingState = "off_hire"  // and the office asks to have it taken down
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
	Why    string    // one sentence for the scaffold firm
	At     time.Time // of the step; zero = the time of the change
	How    How       // by which way it came; "" = the office
}
