package api

import (
	"net/url"
	"strconv"
	"unicode"
	"unicode/utf8"

	"toeboard/weather/fault"
	"toeboard/web"
)

func decimal(n uint64) string        { return strconv.FormatUint(n, 10) }
func decimalOf(f float64) string     { return strconv.FormatFloat(f, 'f', -1, 64) }
func pathPart(s string) string       { return url.PathEscape(s) }
func queryPart(s string) string      { return url.QueryEscape(s) }
func badID(what, given string) error { return fault.Missing(what, given) }

// capital begins a sentence.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// notices are the sentences for what was just done. Only the word travels in
// the address, so nobody can put other words on a page.
var notices = map[string]string{
	"signed-log":   "The log is signed as it is now.",
	"recipient":    "From the next night on the signed head goes there.",
	"no-recipient": "The signed head is mailed to nobody any more.",
	"planned":      "A new plan is proposed. Nothing moves until it is published.",
	"underway":     "A plan is being made already. This is that run: wait for it, or stop it and plan again.",
	"kept":         "The run is stopped. Its best plan is proposed. Nothing moves until it is published.",
	"published":    "The plan is published: the scaffold firms' pages and feeds show it, and a mail tells each of them what changed.",
	"sent-again":   "It leaves again, under the same identity: a mail program shows it once.",
	"declined":     "The scaffold firm is told that their day is not taken: your day stays asked for.",
	"off-hire":     "The scaffold firm is asked to take it down, by mail, on its page and in its feed.",
	"kept-on-hire": "The scaffold firm is told to leave it standing.",
	"inspected":    "It is noted that the scaffold was inspected. What was found is a scaffold report: write it on the job's page.",
	"refused-day":  "The office is told that you cannot do this day.",
	"link-kept":    "The address opens until the end of that day.",
	"link-ended":   "It opens nothing any more, from now on and for good.",
	"links-ended":  "Every address of theirs is ended, those in mails too: it opens nothing any more. The next mail carries a new one.",
	"mails-ended":  "The links in the mails sent so far open nothing any more. The next mail carries a new one.",
	"certificate":  "The certificate is here; the office sees it. Thank you.",
	"quiet-set":    "These quiet hours count from the next message on.",
	"rates":        "These rates are in force. Plan again to plan by them.",
	"terms":        "These terms are agreed. Plan again to plan by them.",
	"learnt":       "It is worked out. Later chances are brought towards the climate by it.",
	"nothing":      "There is nothing to learn from yet: no kept forecast reaches a half-day of which a later one says what happened.",
	"limits":       "This limit is in force. Mornings are judged by it from now on; plan again to plan by it.",
	"services":     "This is in force. A service that was not asked before is asked at the next reading, within the hour; plan again to plan by it.",
	"looser":       "This limit is in force, and it is looser than the start value: the page and every reason that names it say so.",
	"pinned":       "It is pinned. Plan again to plan by it.",
	"unpinned":     "The pin is taken away. Plan again to plan without it.",
	"dropped":      "The draft is put aside.",
	"imported":     "The file is taken.",
	"reported":     "The scaffold report is recorded.",
	"event":        "The event is recorded: the scaffold must be inspected before it is used again.",
	"progress":     "The stage's progress is recorded. Plan again so that the plan knows it.",
	"consent":      "The consent is recorded. Plan again so that the plan knows it.",
	"told":         "It is recorded what the customer knows of the promise. Plan again so that the plan knows it.",
	"agreed":       "It is recorded what the customer confirmed. Plan again so that the plan knows it.",
	"kit":          "The kit is recorded. Plan again so that the plan knows it.",
	"issued":       "A risk assessment is issued. It counts once it is approved.",
	"approved":     "The risk assessment is approved. The crew signs it on the morning.",
	"answered":     "The answers are recorded. Issue a new version when they change it: what changed is told below.",
	"seen":         "It is recorded, and the version in force is out of date: issue a new one, and the crew signs it.",
	"away":         "It is taken away, with the reason in the record. Issue a new version.",
	"remedied":     "It is recorded what was done. Have the scaffold inspected again before anybody uses it.",
	"delivered":    "The delivery is recorded.",
	"hazards":      "It is set. Assessments that are issued from now on are made by it.",
	"briefed":      "The checks are recorded.",
	"signed":       "The signature is recorded.",
	"recorded":     "It is recorded.",
	"inducted":     "The induction is recorded.",
	"checkin":      "It is written down whom to ring.",
	"call-well":    "The call is written down. The next one is due as told below.",
	"call-left":    "It is written down that the site was left. Nobody waits for a call any more.",
	"noted":        "The place is noted.",
	"sent":         "It is recorded as sent, with its evidence.",
	"ownrule":      "This rule is in force for every morning from now on.",
	"excepted":     "The exception is recorded, and stays on the decision with your name.",
	"fit-yes":      "It is recorded: fit for work today.",
	"fit-no":       "It is recorded. This person is not counted today, and nobody asks why.",
	"pin":          "The PIN is set. It is not shown again.",
	"stopped":      "Work is stopped. Nobody starts until another person lifts the stop.",
	"thunder":      "It is logged. Everybody off the roof; the half-hour is counted from now on.",
	"gust":         "The reading is recorded, and the decision goes by it.",
	"lifted":       "The stop is lifted. Everybody signs again.",
	"confirmed":    "Thank you. The booking is confirmed.",
	"erected":      "Thank you. The scaffold stands in the office's books. Nobody works from it before it is handed over and inspected.",
	"struck":       "Thank you. The scaffold is down in the office's books, and nobody is sent up there again.",
	"accepted":     "The offered day is taken, and the scaffold firm's page and feed show it. Plan again so that the plan knows it.",
	"held":         "The place is held. The planner and other offers keep away from it until it is taken, given free or runs out.",
	"taken":        "It is a job now, pinned to its place, and the customer is promised its last day. Plan again so that the plan has it.",
	"free":         "The place is free again.",
	"offered":      "Thank you. The office sees the day you offer and will answer.",
}

// pageFaults gives what is wrong with a form, nil when the error is of another
// kind. renamed says what an input is called on the page where that differs.
func pageFaults(err error, renamed ...map[string]string) []web.Fault {
	if err == nil {
		return nil
	}
	out := refusalOf(err)
	if out.kind != invalid && out.kind != conflict {
		return nil
	}
	if len(out.errors) == 0 {
		return []web.Fault{{Say: doNext(out)}}
	}
	return mapped(out.errors, func(e ProblemError) web.Fault {
		field := e.Pointer
		for _, r := range renamed {
			if to, ok := r[field]; ok {
				field = to
			}
		}
		return web.Fault{Field: field, Say: capital(e.Detail) + "."}
	})
}
