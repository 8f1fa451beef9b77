package web

func samplePeople() People {
	p := People{Sheet: sampleSheet("Asha Verma", "office", -1), AskPassword: true, People: []PersonRow{
		{ID: "p1", Name: "Tom Reed", Role: "crew lead", PINSet: at("2026-11-30", "16:05"), PINAction: "/people/p1/pin"},
		{ID: "p2", Name: "Isla Kerr", Role: "crew member", PINAction: "/people/p2/pin"},
	}}
	p.Faults = []Fault{{"pin-p2", "PIN: 4 to 8 digits."}, {"password-p2", "Password: your own password, as you sign in with it."}}
	return p
}
