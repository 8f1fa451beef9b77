// Package solver places activities on a time line. It knows activities,
// resources, calendars and costs, and nothing of what they stand for.
//
// The problem is resource-constrained project scheduling, widened by what real
// firms have: calendars whose closed time an activity may bridge, several ways
// (modes) to do an activity, capacity that varies over time, resources that are
// held from the start of one activity to the end of another (spans), resources
// that travel, and costs by slot. A plan's cost, which the search makes small, is
//
//	  sum over placed activities of
//	      mode cost + cost of its first slot + cost of each slot (the activity's
//	      and the mode's) + cost of its last slot
//	+ sum over placed activities of the activity's cost of its first slot
//	+ sum over activities that stand at one of their Was of -Stay
//	+ sum over activities left out of their Absent cost
//	+ sum over handovers whose two activities are placed and done by two different people of their cost
//	+ sum over resources of the Idle cost of each slot that nothing uses
//	+ sum over travelling resources and tours of the trips home, place, place, home,
//	  of each activity to its first Slots slots: what it takes beyond them is kept
//	  for those in which nothing comes of the work
//	+ sum over spans of the cost of their length
//	+ Makespan x number of slots up to the last one used
//
// Before that cost comes another: of two plans the one that leaves out fewer
// Vital activities is the better, whatever it costs.
//
// Everything is whole numbers, so the cost that the search keeps while it adds
// and removes activities is exactly the cost of the plan.
package solver

// Slot is a position on the time line. The line runs from slot 0; how long a
// slot is, the caller knows.
type Slot int32

// Cost is money in the caller's smallest unit, or whatever else is to be small.
type Cost int64

// Never, anywhere in a table of costs, forbids that slot. Sums of real costs
// must stay well below it.
const Never Cost = 1 << 60

// Part counts how much of a slot's work is done: Whole is all of it.
type Part int32

// Whole is the work of one slot.
const Whole Part = 10_000

// Amount counts units of a resource.
type Amount int32

// Place names where an activity is done, for resources that travel.
type Place int32

// Data is one problem. Solve does not change it.
type Data struct {
	Slots      Slot // the time line is slots 0 to Slots-1
	Calendars  []Calendar
	Resources  []Resource
	Activities []Activity
	Groups     []Group // each activity in exactly one; nil = each activity alone
	Spans      []Span
	Handovers  []Handover
	Trip       func(from, to Place) Cost // symmetric, not negative; needed when a resource has a Tour
	Makespan   Cost                      // cost of each slot up to the last one used
}

// Calendar says by slot whether work can be done in it. An activity takes
// neighbouring open slots; closed ones may lie between them.
type Calendar []bool

// Resource is something that activities use. Capacity is counted by bucket of
// Grain slots: an activity that touches a bucket uses its amount there once.
type Resource struct {
	Grain    Slot     // slots in one bucket, 0 = 1
	Capacity []Amount // by bucket
	Idle     []Cost   // by slot: cost of a slot in which nothing uses it; nil = none. Capacity at most 1, Grain 1
	Tour     *Tour    // nil = does not travel. Capacity at most 1, Grain 1
}

// Tour is a resource's travel: in every Slots slots in which it has work it
// leaves home, goes to its places in order, and returns.
type Tour struct {
	Home  Place
	Slots Slot
}

// Activity is one piece of work.
type Activity struct {
	Modes     []Mode // the ways to do it; at least one. Activities may share a slice, which saves memory
	After     []Link
	Release   Slot   // not before this slot
	StartCost []Cost // by slot, for its first slot in any mode; nil = 0
	SlotCost  []Cost // by slot, for each slot it is worked in; nil = 0
	EndCost   []Cost // by slot, for its last slot; nil = 0
	Share     []Part // by slot: what a slot is expected to bring of its work, 0 to Whole; nil = Whole in each
	Short     Part   // where Share is given, so much of the work may be missing at the end, 0 to less than Whole
	Absent    Cost   // when it is left out
	Vital     bool   // no saving is reason to leave it out
	Place     Place
	Late      bool // among equally cheap starts take the latest
	Pin       *At  // must be here, whatever it costs; only for an activity that is alone in its unit
	Keep      *At  // was here in the plan that this one starts from
	Was       []At // standing at one of these
	Stay      Cost // saves so much, 0 or more
}

// At is a way and a first slot.
type At struct {
	Mode  int
	Start Slot
}

// Link says that an activity starts after another has ended, with at least Lag
// free slots between them, and when Most is not 0, at most Most slots after
// it: with Most 1 in the very next slot of the line. Most is more than Lag.
type Link struct {
	Activity int
	Lag      Slot
	Most     Slot // 0 = no maximum
}

// Mode is one way to do an activity.
type Mode struct {
	Calendar  int
	Slots     Slot // open slots of work, at least 1. It takes as many, or with a Share as many as bring so much, less Short
	Uses      []Use
	Cost      Cost
	Release   Slot   // not before this slot in this way,
	Also      []Slot // except that it may start in these
	StartCost []Cost // by slot, for its first slot; nil = 0
	SlotCost  []Cost // by slot, for each slot it is worked in, beside the activity's own; nil = 0
	Whole     bool   // its slots must be neighbours on the line, no closed one between them
	Who       int    // who does it in this way, for handovers; 0 = nobody in particular
}

// Use is an amount of a resource, taken in every bucket that is touched.
type Use struct {
	Resource int
	Amount   Amount
}

// Handover is what it costs when two activities are both placed and somebody
// else does the second than did the first: their modes' Who differ and neither
// is 0. The order of the two does not matter.
type Handover struct {
	First, Second int
	Cost          Cost
}

// Unit is a set of activities that are placed all or none, one after the other
// as listed: the one whose place matters most comes first. Those in Tied are
// done in the mode of the same index.
type Unit struct {
	Activities []int
	Tied       []int
}

// Group is a list of units that the search takes out and puts back together,
// in this order.
type Group []Unit

// Span holds one unit of a resource from the first slot of From to the last
// slot of To, bucket by bucket. From and To are Tied in one unit, and the
// mode of To says which resource. With From = Standing the span is a fact: it
// is held from slot Begin on, and to the end of the line when To is left out;
// such a To has one mode, and a bucket that facts alone over-fill is no fault:
// one that standing spans over-fill of which none could have ended before it,
// everything else staying where it is.
type Span struct {
	From, To int
	Begin    Slot     // of a Standing one, its first slot on the line
	On       []SpanOn // by mode of To
	Hold     Cost     // guides placing: what a bucket held is worth to others. No part of the cost
}

// Standing in a Span says that its beginning is a fact and no activity's.
const Standing = -1

// SpanOn is the resource that a span holds and what that costs.
type SpanOn struct {
	Resource int
	Cost     []Cost // by number of buckets held, index 0 unused; nil = 0
}

// Stop says when the search ends: when so many schedules were generated, or
// earlier when the context is done. The first schedule is always made.
type Stop struct {
	Schedules int
	Workers   int            // searches side by side, 0 = 1; the answer depends on the number, not on the cores
	Progress  func(Progress) // told now and then how far the search is, by one goroutine at a time; nil = nobody
}

// Progress is how far a search is.
type Progress struct {
	Schedules int  // generated so far
	Best      Cost // of the best plan so far; it rises when that plan leaves out fewer Vital activities than the last
	Bound     Cost // no plan costs less; 0 = nothing is proven, or not yet (the first plan is told before it)
}

// Placement is where an activity stands. Mode -1 = left out.
type Placement struct {
	Mode       int
	Start, End Slot // first and last slot, both inclusive
}

// Result is the best plan found.
type Result struct {
	Placed    []Placement // by activity
	Cost      Cost
	Schedules int   // generated; dead ends of the exact search are counted too (finish.go)
	Unpinned  []int // activities whose pin clashes with another or with the data, ascending
	First     Cost  // of the best schedule by a priority rule, before improvement
	Bound     Cost  // no plan costs less; 0 = nothing is proven
}
