package web

const (
	sampleRoot = "5e1b0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"
	sampleKey  = "toeboard/record/01a21a4d-402b-7e89-a46b-7ba7f6438306+89eb6e03+AektRc5ePzVr5vW/EJJoA7gNNOrAmwjxgC5pjXTA8BIZ"
)

func sampleRecord() RecordPage {
	return RecordPage{Sheet: sampleSheet("Asha Verma", "office", -1), Entries: 135, Unsigned: 4, SignAction: "/record/heads", Recipient: HeadRecipient{"/record/recipient", 2, "The insurer", "records@insurer.example", "Asha Verma", "Thu 26 Nov 2026 10:00"}, ExportHref: "/record/export", Keys: []string{sampleKey},
		Heads: []RecordHead{{At: "Fri 27 Nov 2026 02:11", Size: 131, Root: sampleRoot, Text: "toeboard/record/01a21a4d\n131\nWEGB5VenMccuAgAkWW24i4h5e4cegviDufDK9YD0E30=\ntime 2026-11-27T02:11:00Z\n"},
			{At: "Thu 26 Nov 2026 02:11", Size: 120, Root: sampleRoot}},
		Rows: []RecordRow{{134, "signature", "Tom Reed", "Q-1041", "2026-11-27", "/record/entries/134"}, {133, "scaffold report", "", "Q-1041", "", "/record/entries/133"}}}
}

// samplesRecord fills the pages of the log of records.
func samplesRecord() map[string]Page {
	row := RecordRow{134, "signature", "Tom Reed", "Q-1041", "2026-11-27", "/record/entries/134"}
	entry := RecordEntry{Sheet: sampleSheet("Asha Verma", "office", -1), Row: row, Name: "signature by Tom Reed for job Q-1041 on 2026-11-27 (entry 134, key 01a2)",
		SignedAt: "Fri 27 Nov 2026 02:11", HeadSize: 135, Leaf: sampleRoot, Proof: []string{sampleRoot, sampleRoot}, Text: "{\n  \"kind\": \"sign_off\"\n}"}
	wrong := entry
	wrong.Wrong = []string{"its typed_name is \"Tom Reid\" in the database and \"Tom Reed\" in the log"}
	paper := RecordPaper{Sheet: sampleSheet("Asha Verma", "office", -1), Asked: sampleRoot, Hash: sampleRoot, Same: true, Told: Clear, At: "Fri 27 Nov 2026 08:10", JobRef: "Q-1041",
		Address: "7 Heron Row", Crew: "Alder", Day: "Friday 27 November 2026", Signed: []string{"Tom Reed, 08:05"}, SignedAt: "Fri 27 Nov 2026 02:11", EntryHref: "/record/entries/134"}
	other := paper
	other.Same, other.Asked = false, "0000"+sampleRoot[4:]
	return map[string]Page{"record": sampleRecord(), "record-entry": entry, "record-entry-wrong": wrong, "record-paper": paper, "record-paper-other": other}
}
