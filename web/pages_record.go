package web

import "fmt"

// RecordPage tells the office what is kept of its safety records, and lets it
// take them away with their proof. Signing sends key.
type RecordPage struct {
	Sheet
	Entries     int64
	Unsigned    int64        // entries that no signed head covers yet
	Heads       []RecordHead // the newest first
	Keys        []string     // public keys, the newest last
	KeysOutside bool         // the secret is kept outside the database
	Job         string       // only the entries of this job are shown; "" = all
	Rows        []RecordRow
	ExportHref  string // "" = nothing is signed yet
	SignAction  string // POST
	Recipient   HeadRecipient
}

// HeadRecipient is to whom the signed head is mailed each night.
//
// Form: version, heads_name, heads_address, key.
type HeadRecipient struct {
	Action        string // POST
	Version       int
	Name, Address string // "" = nobody
	SetBy, SetAt  string // "" = it was never set
}

// RecordHead is one signed head.
type RecordHead struct {
	At   string
	Size int64
	Root string
	Text string // as it was signed
}

// RecordRow is one entry.
type RecordRow struct {
	Seq       int64
	What, Who string
	JobRef    string
	Day       string
	Href      string
}

// Question is what the page answers.
func (RecordPage) Question() string { return "What is kept, and who can prove it?" }
func (RecordPage) template() string { return "record" }

// Says is the answer in one line.
func (p RecordPage) Says() string {
	switch {
	case p.Entries == 0:
		return "Nothing is kept yet."
	case len(p.Heads) == 0:
		return fmt.Sprintf("%d records are kept; the log was not signed yet.", p.Entries)
	case p.Unsigned == 0:
		return fmt.Sprintf("%d records are kept, all under the head signed %s.", p.Entries, p.Heads[0].At)
	default:
		return fmt.Sprintf("%d records are kept; the %d newest are not signed yet. The next head is signed in the night.", p.Entries, p.Unsigned)
	}
}

// RecordEntry proves one record.
type RecordEntry struct {
	Sheet
	Row      RecordRow
	Name     string
	Wrong    []string // what is wrong; none = proven, as far as a head covers it
	SignedAt string   // of the head that covers it; "" = none yet
	HeadSize int64
	Leaf     string
	Proof    []string
	Text     string
}

// Question is what the page answers.
func (RecordEntry) Question() string { return "Is this record what was kept?" }
func (RecordEntry) template() string { return "record_entry" }

// Says is the answer.
func (p RecordEntry) Says() string {
	switch {
	case len(p.Wrong) > 0:
		return "No."
	case p.SignedAt == "":
		return "Yes, as far as this database tells: its text, its hash and the stored row agree. No signed head covers it yet."
	default:
		return fmt.Sprintf("Yes: its text gives its hash, the hash is in the log of %d entries whose head was signed %s, and the stored row says the same.", p.HeadSize, p.SignedAt)
	}
}

// RecordPaper tells whoever holds a printed paper whether it is what was kept.
type RecordPaper struct {
	Sheet
	Asked     string // hash that the paper carries; "" = none was given
	Hash      string // that was kept
	Same      bool
	Wrong     []string // what is wrong with the record itself
	Told      Verdict
	At        string
	JobRef    string
	Address   string
	Crew      string
	Day       string
	Signed    []string
	SignedAt  string // of the head that covers the record; "" = none yet
	EntryHref string // "" = may not see it
}

// Question is what the page answers.
func (RecordPaper) Question() string { return "Is this paper what was kept?" }
func (RecordPaper) template() string { return "record_paper" }

// Says is the answer.
func (p RecordPaper) Says() string {
	switch {
	case len(p.Wrong) > 0:
		return "No: the record itself was changed."
	case p.Asked == "":
		return "Compare the hash at the foot of the paper with the one below, all of it."
	case !p.Same:
		return "No: the hash on the paper is not the one that was kept."
	default:
		return "The hash on the paper is the one that was kept. The paper is right if it also says what stands here."
	}
}
