package schedule

import (
	"fmt"
	"slices"

	"toeboard/weather/fault"
)

// The life of a booking, as a table. A plan asks for a scaffold (wanted). The
// invitation leaves (sent). The scaffold firm confirms, offers another day
// (countered) or says that it cannot do the day and offers none (refused). A
// moved booking is wanted again. The scaffold goes up and is handed over
// (erected), an inspector sees it (inspected), the office asks to have it taken
// down (off hire wanted) and may take that back, and it comes down (struck). What
// does not stand can be cancelled; what stands can only be struck. Nothing
// follows struck or cancelled.
//
// The database holds the same table (booking_may_become); a test walks every
// pair through both.
var bookingLife = map[BookingState][]BookingState{
	BookingWanted:    {BookingWanted, BookingSent, BookingConfirmed, BookingCountered, BookingRefused, BookingErected, BookingCancelled},
	BookingSent:      {BookingWanted, BookingSent, BookingConfirmed, BookingCountered, BookingRefused, BookingErected, BookingCancelled},
	BookingConfirmed: {BookingWanted, BookingConfirmed, BookingCountered, BookingRefused, BookingErected, BookingCancelled},
	BookingCountered: {BookingWanted, BookingConfirmed, BookingCountered, BookingRefused, BookingErected, BookingCancelled},
	BookingRefused:   {BookingWanted, BookingConfirmed, BookingCountered, BookingRefused, BookingErected, BookingCancelled},
	BookingErected:   {BookingErected, BookingInspected, BookingOffHire, BookingStruck},
	BookingInspected: {BookingInspected, BookingErected, BookingOffHire, BookingStruck},
	BookingOffHire:   {BookingOffHire, BookingErected, BookingStruck},
	BookingStruck:    nil,
	BookingCancelled: nil,
}

// BookingStates lists every state, in the order of a booking's life.
var BookingStates = []BookingState{BookingWanted, BookingSent, BookingConfirmed, BookingCountered, BookingRefused,
	BookingErected, BookingInspected, BookingOffHire, BookingStruck, BookingCancelled}

// MayBecome tells whether a booking may go from one state to another. Staying
// in a state is a step too, for a change of days; a booking that has ended takes
// none. An unknown state may become nothing.
func (s BookingState) MayBecome(next BookingState) bool {
	return slices.Contains(bookingLife[s], next)
}

// Stands tells whether the scaffold is up.
func (s BookingState) Stands() bool {
	return s == BookingErected || s == BookingInspected || s == BookingOffHire
}

var bookingWords = map[BookingState]string{
	BookingWanted: "wanted", BookingSent: "sent", BookingConfirmed: "confirmed", BookingCountered: "another day offered",
	BookingRefused: "day refused", BookingErected: "erected", BookingInspected: "inspected", BookingOffHire: "off hire wanted",
	BookingStruck: "struck", BookingCancelled: "cancelled",
}

// String writes the state in words.
func (s BookingState) String() string {
	if words := bookingWords[s]; words != "" {
		return words
	}
	return "not known"
}

// forPlan is the state as the planner needs it: a scaffold that stands is
// erected, whatever else is known of it.
func (s BookingState) forPlan() BookingState {
	if s.Stands() {
		return BookingErected
	}
	return s
}

// noDay tells whether the scaffold firm said that it cannot do the booked day to
// erect, with or without offering another: it is not asked for that day again
// while the answer stands.
func (s BookingState) noDay() bool { return s == BookingCountered || s == BookingRefused }

// How is the way by which a step of a booking's life came.
type How string

// The ways.
const (
	ByPlan    How = "plan"    // a plan was published
	ByOffice  How = "office"  // somebody of the office pressed a button, or the program did for them
	ByPage    How = "page"    // on the scaffold firm's private page
	ByMail    How = "mail"    // by the mail that left or the answer that came
	ByFeed    How = "feed"    // over the JSON routes
	ByCommand How = "command" // on the command line
)

// steps refuses a change that does not follow from where the booking stands.
func (c BookingChange) steps() error {
	if c.Before == nil || c.Before.State.MayBecome(c.After.State) {
		return nil
	}
	return fault.Changed("booking", string(c.Before.State),
		fmt.Sprintf("it is %s now, and nothing that is %s can become %s: look again", c.Before.State, c.Before.State, c.After.State))
}
