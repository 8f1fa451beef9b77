package outbox

// Kind says what a message is about. The zero value is refused.
type Kind string

// The kinds.
const (
	BookingNew       Kind = "booking_new"       // a scaffold is wanted
	BookingChanged   Kind = "booking_changed"   // its days changed, or the office took the day that was offered
	BookingCancelled Kind = "booking_cancelled" // it is off
	OfferDeclined    Kind = "offer_declined"    // the office does not take the day that was offered
	BookingOffHire   Kind = "booking_off_hire"  // the scaffold is to come down, or to stay after all

	CrewEvening   Kind = "crew_evening"   // what a crew does on the next working day
	CrewMorning   Kind = "crew_morning"   // what stands in the way of starting
	CrewTurn      Kind = "crew_turn"      // the weather turns: be off the roof
	OfficeDue     Kind = "office_due"     // what runs out soon
	CustomerDates Kind = "customer_dates" // when somebody comes
	SignedHead    Kind = "signed_head"    // the night's head of the log of records
	CallMissed    Kind = "call_missed"    // somebody who works alone did not call
)

// KindRule is how the messages of one kind are treated.
type KindRule struct {
	Kind   Kind
	Words  string // "a scaffold is wanted"
	Urgent bool   // leaves in quiet hours too
	Digest bool   // messages to one address that wait together leave in one mail
}

// Kinds lists every kind. A calendar invitation carries one booking (RFC 5546
// 3.2), so those of bookings are never put together: several changes of one
// booking that wait leave as one mail, and changes of several as one each.
var Kinds = []KindRule{
	{Kind: BookingNew, Words: "a scaffold is wanted"},
	{Kind: BookingChanged, Words: "a booking changed"},
	{Kind: BookingCancelled, Words: "a booking is off"},
	{Kind: OfferDeclined, Words: "the day offered is not taken"},
	{Kind: BookingOffHire, Words: "a scaffold is to come down"},
	{Kind: CrewEvening, Words: "the next day's work", Digest: true},
	{Kind: CrewMorning, Words: "the morning", Urgent: true},
	{Kind: CrewTurn, Words: "the weather turns", Urgent: true},
	{Kind: OfficeDue, Words: "what runs out soon", Digest: true},
	{Kind: CustomerDates, Words: "when we come", Digest: true},
	{Kind: CallMissed, Words: "no call of who works alone", Urgent: true},
	{Kind: SignedHead, Words: "the signed head of the record"},
}

// Rule gives how a kind is treated; ok is false for one that is not listed.
func (k Kind) Rule() (r KindRule, ok bool) {
	for _, r := range Kinds {
		if r.Kind == k {
			return r, true
		}
	}
	return KindRule{Kind: k, Words: string(k)}, false
}
