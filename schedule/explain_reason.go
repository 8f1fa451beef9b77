package schedule

import (
	"fmt"
	"strconv"
	"strings"

	"toeboard/weather/civil"
)

// Rule is the kind of fact that binds a start.
type Rule string

// The rules of reasons.
const (
	RulePlanStart Rule = "plan start"        // Limit: the date
	RulePlanEnd   Rule = "plan end"          // Limit: the date
	RuleReady     Rule = "job ready"         // Subject: the job; Limit: the date
	RuleConsent   Rule = "consent"           // Subject: which; Value: expected or granted; Limit: the date
	RuleKit       Rule = "kit"               // Subject: the item; Value: due or arrived; Limit: the date
	RuleGate      Rule = "gate"              // Subject: the fact in words; Limit: the date
	RuleOrder     Rule = "order of stages"   // Subject: the stage before; Value: its end, or the half-days it takes
	RuleNotice    Rule = "notice"            // Subject: the scaffold firm; Value: working days; Limit: the first date
	RuleOffer     Rule = "another day"       // Subject: the scaffold firm; Limit: the date that it offers; "" = it offers none, Value: the date that it cannot do
	RuleSky       Rule = "chance of weather" // Subject: the stage; Value: percent, "" = not known; Limit: the least
	RuleAway      Rule = "lead away"         // Subject: the crew; Value: a stretch of dates
	RuleElsewhere Rule = "crew elsewhere"    // Subject: the crew; Value: a stretch of half-days; Limit: the job, "" = several
	RuleTaken     Rule = "held for an offer" // Subject: the crew; Value: a stretch of half-days; Limit: for whom
	RuleGangs     Rule = "gangs"             // Subject: the scaffold firm; Value: a stretch of full dates; Limit: gangs a day
	RuleSets      Rule = "sets"              // Subject: the scaffold firm; Value: a stretch of full dates; Limit: sets
	RuleDayOff    Rule = "day off"           // Subject: the scaffold firm; Value: its weekdays off, in words
	RuleReach     Rule = "area"              // Subject: the scaffold firm; Value: km from its yard to the job; Limit: km that it goes
	RulePin       Rule = "pin"               // Subject: the stage; Value: what somebody fixed, in words
	RuleHeld      Rule = "held"              // Subject: the stage; Value: why, in words; Limit: its half-day
	RuleAsked     Rule = "asked for"         // Subject: the stage; Limit: the date, or the crew
	RulePromise   Rule = "promise"           // Subject: the job; Limit: the date
	RuleBlocked   Rule = "cannot be planned" // Subject: the stage; Value: why, in words
	RuleChance    Rule = "better weather"    // Subject: the stage; Value: percent then; Limit: percent as planned
	RuleDistance  Rule = "distance"          // Subject: the crew; Value: km from its home; Limit: km from the other's
)

// Reason is one fact that binds a start, as data. Dates are ISO, half-days as
// 2026-12-08 morning. A stretch is its last date or half-day when it has begun
// where something was asked for, "first to last" otherwise, and "first and last"
// when something is free between them. Say makes the sentence.
type Reason struct {
	Rule    Rule   `json:"rule"`
	Subject string `json:"subject"`
	Value   string `json:"value"`
	Limit   string `json:"limit"`
	Unit    string `json:"unit"`
	Source  string `json:"source"` // where the fact stands: "job J-001", "published plan 3"
}

// Say writes the reason in words, without a capital or a full stop, so that
// several can stand in one sentence.
func (r Reason) Say() string {
	limit, value := shortOf(r.Limit), shortOf(r.Value)
	switch r.Rule {
	case RulePlanStart:
		return "the plan starts on " + limit
	case RulePlanEnd:
		return "the plan ends on " + limit
	case RuleReady:
		return fmt.Sprintf("%s is ready on %s", r.Subject, limit)
	case RuleConsent:
		if r.Value == "granted" {
			return fmt.Sprintf("the consent (%s) holds from %s", r.Subject, limit)
		}
		return fmt.Sprintf("the consent (%s) is expected on %s", r.Subject, limit)
	case RuleKit:
		if r.Value == "arrived" {
			return fmt.Sprintf("the kit (%s) arrived on %s", r.Subject, limit)
		}
		return fmt.Sprintf("the kit (%s) is due on %s", r.Subject, limit)
	case RuleGate:
		return r.Subject
	case RuleOrder:
		if r.Unit == "half-days" {
			n, _ := strconv.Atoi(r.Value)
			return fmt.Sprintf("%s comes before it and takes %s", r.Subject, halfDays(n))
		}
		return fmt.Sprintf("%s before it ends on %s at the soonest", r.Subject, value)
	case RuleNotice:
		n, _ := strconv.Atoi(r.Value)
		return fmt.Sprintf("%s needs %s notice %s, so %s is the first day", r.Subject, possessive(n), r.Unit[strings.LastIndex(r.Unit, "to "):], limit)
	case RuleOffer:
		if r.Limit == "" {
			return fmt.Sprintf("%s cannot do %s", r.Subject, value)
		}
		return fmt.Sprintf("%s offers %s, and nothing sooner", r.Subject, limit)
	case RuleSky:
		if r.Value == "" {
			return fmt.Sprintf("the chance of weather for %s is not known for %s", r.Subject, shortOf(r.Unit))
		}
		return fmt.Sprintf("the chance of weather for %s is %s%% on %s, and the firm plans on %s%% or more", r.Subject, r.Value, shortOf(r.Unit), r.Limit)
	default:
		return r.sayWho(limit)
	}
}

// sayWho writes the reasons that are about somebody.
func (r Reason) sayWho(limit string) string {
	switch r.Rule {
	case RuleAway:
		return fmt.Sprintf("the lead of %s is away %s", r.Subject, during(r.Value))
	case RuleElsewhere:
		if r.Limit == "" {
			return fmt.Sprintf("%s is taken %s", r.Subject, during(r.Value))
		}
		return fmt.Sprintf("%s is at %s %s", r.Subject, r.Limit, during(r.Value))
	case RuleTaken:
		return fmt.Sprintf("%s is held for %s %s", r.Subject, r.Limit, during(r.Value))
	case RuleGangs:
		return fmt.Sprintf("%s is full %s (%s)", r.Subject, during(r.Value), counted(r.Limit, "gang", "a day"))
	case RuleSets:
		return fmt.Sprintf("%s has every set standing %s (%s)", r.Subject, during(r.Value), counted(r.Limit, "set", ""))
	case RuleDayOff:
		return fmt.Sprintf("%s does not work on %s", r.Subject, r.Value)
	case RuleReach:
		return sayTooFar(r.Subject, r.Value, r.Limit)
	case RulePin:
		return fmt.Sprintf("%s is pinned%s", r.Subject, withColon(r.Value))
	case RuleHeld:
		return fmt.Sprintf("%s stays where it is: %s", r.Subject, strings.TrimSuffix(r.Value, "."))
	case RuleAsked:
		return fmt.Sprintf("%s is asked for %s", r.Subject, limit)
	case RulePromise:
		return fmt.Sprintf("%s is promised for %s", r.Subject, limit)
	case RuleBlocked:
		return fmt.Sprintf("%s can have no place: %s", r.Subject, strings.TrimSuffix(r.Value, "."))
	case RuleChance:
		return fmt.Sprintf("%s%% chance of fit weather throughout %s then, %s%% as planned", r.Value, r.Subject, r.Limit)
	case RuleDistance:
		return fmt.Sprintf("%s would drive %s km from its home, the planned one %s km", r.Subject, r.Value, r.Limit)
	default:
		return string(r.Rule)
	}
}

// during writes a stretch of time: "until Tue 8 Dec am", "from Mon 7 Dec to Tue
// 8 Dec", "on Mon 7 Dec", "at times between Mon 7 Dec and Fri 11 Dec".
func during(value string) string {
	if first, last, ok := strings.Cut(value, " to "); ok {
		if first == last {
			return "on " + shortOf(first)
		}
		return "from " + shortOf(first) + " to " + shortOf(last)
	}
	if first, last, ok := strings.Cut(value, " and "); ok {
		return "at times between " + shortOf(first) + " and " + shortOf(last)
	}
	return "until " + shortOf(value)
}

func withColon(s string) string {
	if s == "" {
		return ""
	}
	return ": " + strings.TrimSuffix(s, ".")
}

func counted(n, what, more string) string {
	if n != "1" {
		what += "s"
	}
	return strings.TrimSpace(n + " " + what + " " + more)
}

// shortOf writes an ISO date or half-day as people read it; other text stays.
func shortOf(s string) string {
	day, half, _ := strings.Cut(s, " ")
	d, err := civil.Parse(day)
	if err != nil {
		return s
	}
	return strings.TrimSpace(d.Short() + " " + map[string]string{"morning": "am", "afternoon": "pm"}[half])
}

// sayAll joins reasons: "a", "a and b", "a, b and c". Of many crews or scaffold
// firms in the way it names the first three and says how many others there are.
func sayAll(all []Reason) string {
	var said []string
	crews, firms := 0, 0
	for _, r := range all {
		switch r.Rule {
		case RuleElsewhere, RuleAway, RuleTaken:
			if crews++; crews > 3 {
				continue
			}
		case RuleGangs, RuleSets, RuleNotice, RuleDayOff:
			if firms++; firms > 3 {
				continue
			}
		}
		said = append(said, r.Say())
	}
	if crews > 3 {
		said = append(said, fmt.Sprintf("%d more such facts of other crews", crews-3))
	}
	if firms > 3 {
		said = append(said, fmt.Sprintf("%d more such facts of scaffold firms", firms-3))
	}
	return listed(said)
}

func listed(said []string) string {
	switch n := len(said); n {
	case 0:
		return ""
	case 1:
		return said[0]
	default:
		return strings.Join(said[:n-1], ", ") + " and " + said[n-1]
	}
}
