package web

// OwnRules is what a firm makes of the conditions that only advise.
//
// Form: code, version, binding (yes or no), holder (ID or empty), why, key. The
// Fault.Field is holder-<code> or why-<code>.
type OwnRules struct {
	Sheet
	Rules  []OwnRuleRow
	Action string // POST; "" = may not
	People []Choice
}

// OwnRuleRow is one such condition.
type OwnRuleRow struct {
	Code, Rule, Limit string
	Version           int
	Binding           bool
	Holder, HolderID  string
	Why               string
}

// Question is what the page answers.
func (OwnRules) Question() string { return "What do we ask of ourselves beyond the law?" }
func (OwnRules) template() string { return "ownrules" }
