package safety

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"toeboard/weather/fault"
)

// Truth is the answer of a rule over facts. The zero value is Unsure: a fact
// is missing that would decide it.
type Truth int

// The answers of a rule.
const (
	Unsure Truth = iota
	False
	True
)

// String writes the answer in words.
func (t Truth) String() string { return [...]string{"not known", "no", "yes"}[t] }

// Rule is a condition over facts, written as a person reads it:
//
//	roof_work and (pitch_deg >= 30 or moss)
//	covering in (cement_slate, corrugated)
//
// A yes/no fact stands alone; a number is compared with = != < <= > >=; a word
// with = != or in (...). and binds tighter than or; not binds tightest. What is
// not known is neither yes nor no (Kleene's three-valued logic): "unknown and
// no" is no, "unknown or yes" is yes, all else stays unknown.
type Rule struct {
	text string
	root node
}

// String gives the rule as it was written.
func (r Rule) String() string { return r.text }

// MarshalText writes the rule as it was written.
func (r Rule) MarshalText() ([]byte, error) { return []byte(r.text), nil }

// UnmarshalText reads a rule; an empty one always holds.
func (r *Rule) UnmarshalText(b []byte) error {
	got, err := ParseRule(string(b))
	*r = got
	return err
}

// Finding is what a rule says of some facts and why.
type Finding struct {
	Truth   Truth
	Because []string // keys of the known facts that speak for it, in the order of the rule
	Missing []string // keys that would decide it when it is Unsure
}

// Judge asks the rule of facts. The rule without text holds.
func (r Rule) Judge(f Facts) Finding {
	if r.root == nil {
		return Finding{Truth: True}
	}
	return r.root.judge(f)
}

// Keys lists every fact that the rule speaks of, sorted.
func (r Rule) Keys() []string {
	if r.root == nil {
		return nil
	}
	keys := r.root.keys(nil)
	slices.Sort(keys)
	return slices.Compact(keys)
}

// Words says the rule as a sentence's middle, for people who do not read rules:
// "roof work, and roof pitch at least 30 degrees or moss on the roof". The rule
// without text says "always".
func (r Rule) Words() string {
	if r.root == nil {
		return "always"
	}
	return r.root.words()
}

type node interface {
	judge(Facts) Finding
	keys([]string) []string
	words() string
}

// atom asks one fact.
type atom struct {
	key   string
	says  string // what must be so of the fact, in words
	holds func(Fact) bool
}

func (a atom) keys(k []string) []string { return append(k, a.key) }
func (a atom) words() string            { return a.says }

func (a atom) judge(f Facts) Finding {
	v, known := f[a.key]
	switch {
	case !known || v.Kind != factByKey[a.key].Kind:
		return Finding{Truth: Unsure, Missing: []string{a.key}}
	case a.holds(v):
		return Finding{Truth: True, Because: []string{a.key}}
	default:
		return Finding{Truth: False, Because: []string{a.key}}
	}
}

// both holds when every part does, either when one does.
type (
	both   []node
	either []node
)

func (b both) keys(k []string) []string {
	for _, n := range b {
		k = n.keys(k)
	}
	return k
}
func (e either) keys(k []string) []string { return both(e).keys(k) }

// words joins parts so that what binds tighter stands closer: a group within a
// group is put in brackets.
func (b both) words() string   { return joinWords(b, " and ") }
func (e either) words() string { return joinWords(e, " or ") }

func joinWords(parts []node, with string) string {
	said := make([]string, len(parts))
	for i, p := range parts {
		said[i] = p.words()
		switch p.(type) {
		case both, either:
			said[i] = "(" + said[i] + ")"
		}
	}
	return strings.Join(said, with)
}

func (b both) judge(f Facts) Finding   { return combine(f, b, False, True) }
func (e either) judge(f Facts) Finding { return combine(f, e, True, False) }

// combine joins parts: one part with the answer that decides is enough, and all
// parts must have the other for the other. Reasons come from the parts that
// agree with the whole; of an unsure whole, from those that leave it open.
func combine(f Facts, parts []node, decides, other Truth) Finding {
	var of [3]Finding
	var seen [3]bool
	for _, p := range parts {
		got := p.judge(f)
		seen[got.Truth] = true
		of[got.Truth].Because = join(of[got.Truth].Because, got.Because)
		of[got.Truth].Missing = join(of[got.Truth].Missing, got.Missing)
	}
	switch {
	case seen[decides]:
		return Finding{Truth: decides, Because: of[decides].Because}
	case seen[Unsure]:
		return Finding{Truth: Unsure, Because: join(of[True].Because, of[Unsure].Because), Missing: of[Unsure].Missing}
	default:
		return Finding{Truth: other, Because: of[other].Because}
	}
}

func join(a, b []string) []string {
	for _, s := range b {
		if !slices.Contains(a, s) {
			a = append(slices.Clip(a), s)
		}
	}
	return a
}

type negated struct{ of node }

func (n negated) keys(k []string) []string { return n.of.keys(k) }
func (n negated) words() string            { return "not (" + n.of.words() + ")" }

func (n negated) judge(f Facts) Finding {
	got := n.of.judge(f)
	switch got.Truth {
	case True:
		got.Truth = False
	case False:
		got.Truth = True
	}
	return got
}

// deepest is how far brackets may nest.
const deepest = 40

// ParseRule reads a rule and checks it against the list of facts: every key
// must be a fact, every comparison must fit its kind and its words.
func ParseRule(text string) (Rule, error) {
	if strings.TrimSpace(text) == "" {
		return Rule{}, nil
	}
	p := &parser{text: text, words: tokens(text)}
	root, err := p.either(0)
	if err == nil && p.next() != "" {
		err = p.refuse("expected \"and\", \"or\" or the end before %q", p.next())
	}
	if err != nil {
		return Rule{}, err
	}
	return Rule{text: text, root: root}, nil
}

// mustRule is ParseRule for rules that come with the service; it panics on a
// bad one.
func mustRule(text string) Rule {
	r, err := ParseRule(text)
	if err != nil {
		panic("safety: " + err.Error())
	}
	return r
}

type parser struct {
	text  string
	words []string
	at    int
}

func (p *parser) next() string {
	if p.at < len(p.words) {
		return p.words[p.at]
	}
	return ""
}

func (p *parser) take() string {
	w := p.next()
	p.at++
	return w
}

// is takes the next word when it is w.
func (p *parser) is(w string) bool {
	if p.next() != w {
		return false
	}
	p.at++
	return true
}

func (p *parser) refuse(format string, args ...any) error {
	return fault.Bad("rule", p.text, fmt.Sprintf(format, args...))
}

func (p *parser) either(depth int) (node, error) {
	var parts either
	for {
		n, err := p.both(depth)
		if err != nil {
			return nil, err
		}
		parts = append(parts, n)
		if !p.is("or") {
			break
		}
	}
	if len(parts) == 1 {
		return parts[0], nil
	}
	return parts, nil
}

func (p *parser) both(depth int) (node, error) {
	var parts both
	for {
		n, err := p.one(depth)
		if err != nil {
			return nil, err
		}
		parts = append(parts, n)
		if !p.is("and") {
			break
		}
	}
	if len(parts) == 1 {
		return parts[0], nil
	}
	return parts, nil
}

func (p *parser) one(depth int) (node, error) {
	if depth > deepest {
		return nil, p.refuse("at most %d brackets within each other", deepest)
	}
	if p.is("not") {
		n, err := p.one(depth + 1)
		if err != nil {
			return nil, err
		}
		return negated{n}, nil
	}
	if p.is("(") {
		n, err := p.either(depth + 1)
		if err != nil {
			return nil, err
		}
		if !p.is(")") {
			return nil, p.refuse("a closing bracket is missing before %q", p.next())
		}
		return n, nil
	}
	return p.fact()
}

func (p *parser) fact() (node, error) {
	key := p.take()
	def, known := factByKey[key]
	if !known {
		return nil, p.refuse("%q is not a fact: use a key of the list of facts", key)
	}
	switch def.Kind {
	case YesNo:
		return atom{key, def.Name, func(f Fact) bool { return f.Yes }}, nil
	case Number:
		return p.number(def)
	case Word:
		return p.word(def)
	default:
		return nil, p.refuse("%q is free text, no rule can ask it", key)
	}
}

func (p *parser) number(def FactDef) (node, error) {
	op, word := p.take(), p.take()
	limit, err := strconv.ParseFloat(word, 64)
	if err != nil || !(limit >= def.Min && limit <= def.Max) {
		return nil, p.refuse("%s is compared with %s", def.Key, def.want())
	}
	compare := map[string]func(n float64) bool{
		"=":  func(n float64) bool { return n == limit },
		"!=": func(n float64) bool { return n != limit },
		"<":  func(n float64) bool { return n < limit },
		"<=": func(n float64) bool { return n <= limit },
		">":  func(n float64) bool { return n > limit },
		">=": func(n float64) bool { return n >= limit },
	}[op]
	if compare == nil {
		return nil, p.refuse("%s is a number: compare it with = != < <= > or >=, not %q", def.Key, op)
	}
	says := fmt.Sprintf("%s %s %s", def.Name, comparisons[op], word)
	if def.Unit != "year" && def.Unit != "month" { // these are names, not amounts
		says += " " + def.Unit
	}
	return atom{def.Key, says, func(f Fact) bool { return compare(f.N) }}, nil
}

// comparisons are the operators in words.
var comparisons = map[string]string{"=": "exactly", "!=": "other than", "<": "under", "<=": "at most", ">": "over", ">=": "at least"}

func (p *parser) word(def FactDef) (node, error) {
	op := p.take()
	var allowed []string
	switch op {
	case "=", "!=":
		allowed = []string{p.take()}
	case "in":
		if !p.is("(") {
			return nil, p.refuse("write %s in (one, other)", def.Key)
		}
		for {
			allowed = append(allowed, p.take())
			if !p.is(",") {
				break
			}
		}
		if !p.is(")") {
			return nil, p.refuse("the list after %s in is not closed", def.Key)
		}
	default:
		return nil, p.refuse("%s is a word: compare it with =, != or in (...), not %q", def.Key, op)
	}
	for _, w := range allowed {
		if !slices.Contains(def.Words, w) {
			return nil, p.refuse("%s is %s, not %q", def.Key, def.want(), w)
		}
	}
	is := " is "
	if op == "!=" {
		is = " is not "
	}
	says := def.Name + is + strings.ReplaceAll(strings.Join(allowed, " or "), "_", " ")
	return atom{def.Key, says, func(f Fact) bool { return slices.Contains(allowed, f.S) == (op != "!=") }}, nil
}

// tokens splits a rule into words, numbers, operators, brackets and commas.
// What is none of these becomes a word of its own and is refused later.
func tokens(text string) []string {
	var all []string
	isWord := func(c byte) bool {
		return c == '_' || c == '.' || c == '-' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
	}
	for i := 0; i < len(text); {
		c := text[i]
		j := i + 1
		switch {
		case c == ' ' || c == '\t' || c == '\n':
			i = j
			continue
		case isWord(c):
			for j < len(text) && isWord(text[j]) {
				j++
			}
		case (c == '<' || c == '>' || c == '!') && j < len(text) && text[j] == '=':
			j++
		}
		all = append(all, text[i:j])
		i = j
	}
	return all
}
