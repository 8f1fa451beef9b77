package api

import (
	"slices"
	"strings"

	"toeboard/schedule"
)

// newSince names the jobs of a snapshot of which a draft has no word and which
// stand against it for that, in one sentence; "" = there is none. Such a job
// came after the draft.
func newSince(snap schedule.Snapshot, draft schedule.Plan, broken []schedule.Violation) string {
	var refs []string
	for _, j := range snap.Jobs {
		known := slices.ContainsFunc(draft.Visits, func(v schedule.Visit) bool { return v.Job == j.ID }) ||
			slices.ContainsFunc(draft.Unplanned, func(u schedule.Unplanned) bool { return u.Job == j.ID })
		if !known && slices.ContainsFunc(broken, func(b schedule.Violation) bool { return b.Job == j.ID }) {
			refs = append(refs, j.Ref)
		}
	}
	switch n := len(refs); {
	case n == 0:
		return ""
	case n == 1:
		return refs[0] + " is new: plan again"
	case n <= 3:
		return strings.Join(refs[:n-1], ", ") + " and " + refs[n-1] + " are new: plan again"
	}
	return counted(len(refs), "job is", "jobs are") + " new, among them " + refs[0] + ": plan again"
}
