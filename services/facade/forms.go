package facade

import (
	"slices"

	"bydark/events"
	"bydark/services/roofjob"
)

// form is how a person without a program of their own sends one type of report.
type form struct {
	Type, Title, Hint string
	// First names the field that is chosen on a page of its own, before the others, which
	// go by it; empty where there is none.
	First  string
	Fields []field
	// Lines are asked for once for each of several materials.
	Lines []field
}

// field is one member of a report on a form.
type field struct {
	Name, Label, Hint string
	// Kind says how it is asked for: text, lines, json, number, choice, places, day, time,
	// picture or pictures.
	Kind string
	// From names where the choices come from: planes, edges, places, steps, uncut, unset,
	// materials, checks, items, jobs, people or reports; Words are fixed ones.
	From  string
	Words []string
	// Must is not left empty.
	Must bool
	// In puts the value into an object of that name: from.
	In string
	// Rare fields stand folded below the others until one is filled in.
	Rare bool
	// States are those of the items that are offered.
	States []string
}

var (
	whyField      = field{Name: "reason", Label: "Why", Kind: "text"}
	mustWhy       = field{Name: "reason", Label: "Why", Kind: "text", Must: true}
	amountField   = field{Name: "amount", Label: "How much", Hint: "Empty means all that remains. 40', 120 sqft, 12 each, 3 rolls", Kind: "text"}
	mustAmount    = field{Name: "amount", Label: "How much", Hint: "40', 120 sqft, 12 each, 3 rolls", Kind: "text", Must: true}
	material      = field{Name: "material", Label: "Material", Kind: "choice", From: "materials", Must: true}
	picturesField = field{Name: "photos", Label: "Pictures", Hint: "JPEG or PNG", Kind: "pictures"}
	stepField     = field{Name: "step", Label: "Step", Kind: "radio", From: "steps", Must: true}
	toWhom        = field{Name: "to", Label: "To", Kind: "text", From: "people", Must: true}
)

// item is the field of a loose end in one of some states.
func item(states ...string) field {
	return field{Name: "item", Label: "Loose end", Kind: "choice", From: "items", Must: true, States: states}
}

// line is a field of the lines of an order or a delivery.
func line(f field) field {
	f.In = "lines"
	return f
}

// forms are all of them, the common ones first.
var forms = []form{
	{Type: "panel-set", Title: "Panel set", Fields: []field{{Name: "piece", Label: "Panel", Kind: "choice", From: "unset", Must: true}}},
	{Type: "trim-installed", Title: "Trim installed", First: "where", Fields: []field{
		{Name: "where", Label: "Edge", Kind: "choice", From: "edges", Must: true}, stepField, amountField, whyField,
		{Name: "material", Label: "Which of its materials the offcuts are", Kind: "choice", From: "materials", Rare: true},
		{Name: "offcuts", Label: "Lengths kept, one a line", Kind: "lines", Rare: true}, {Name: "from_offcuts", Label: "Cut out of these offcuts, one a line", Hint: "Their ids or lengths", Kind: "lines", Rare: true},
	}},
	{Type: "layer-laid", Title: "Layer laid", First: "where", Fields: []field{{Name: "where", Label: "Plane or edge", Kind: "choice", From: "places", Must: true}, stepField, amountField, whyField}},
	{Type: "panel-cut", Title: "Panel cut", Fields: []field{
		{Name: "piece", Label: "Panel", Kind: "choice", From: "uncut", Must: true}, {Name: "length", Label: "Cut length", Kind: "text", Must: true},
		{Name: "coil", Label: "From coil", Kind: "text", In: "from"}, {Name: "stock", Label: "or from stock length", Kind: "text", In: "from"}, {Name: "offcut", Label: "or from offcut", Kind: "text", In: "from"},
		{Name: "offcut", Label: "Length kept of it", Kind: "text", Rare: true}, {Name: "miscut", Label: "Cut wrong? Why", Kind: "text", Rare: true},
	}},
	{Type: "seal-made", Title: "Seal made", First: "where", Fields: []field{{Name: "where", Label: "Edge", Kind: "choice", From: "edges", Must: true}, stepField, amountField, whyField}},
	{Type: "measure-taken", Title: "Measure taken", Fields: []field{
		{Name: "where", Label: "Where", Kind: "choice", From: "places", Must: true}, {Name: "of", Label: "Of what", Kind: "choice", Words: events.Measures(), Must: true},
		{Name: "values", Label: "Values, one a line", Kind: "lines", Must: true}, {Name: "metal_temp_c", Label: "Metal temperature, °C", Kind: "number", Rare: true},
	}},
	{Type: "deck-opened", Title: "Deck opened", Fields: []field{{Name: "where", Label: "Plane", Kind: "choice", From: "planes", Must: true}, amountField, whyField}},
	{Type: "cover-placed", Title: "Cover placed", Fields: []field{{Name: "where", Label: "Where", Kind: "choice", From: "roof", Must: true}}},
	{Type: "cover-removed", Title: "Cover taken off", Fields: []field{{Name: "where", Label: "Where", Kind: "choice", From: "roof", Must: true}}},
	{Type: "punch-raised", Title: "Loose end found", Fields: []field{
		{Name: "where", Label: "Where", Kind: "choice", From: "roof", Must: true}, {Name: "what", Label: "What", Kind: "text", Must: true},
		{Name: "blocks", Label: "Stops", Kind: "choice", Words: []string{"night", "closeout", "nothing"}, Must: true}, picturesField,
	}},
	{Type: "punch-fixed", Title: "Loose end fixed", Fields: []field{item(roofjob.ItemOpen), picturesField}},
	{Type: "day-started", Title: "Day started or changed", Hint: "Sent again in the day, it says anew how the day stands.", Fields: []field{
		{Name: "heads", Label: "People on the roof", Kind: "number", Must: true}, {Name: "shift_end", Label: "Shift ends", Kind: "time", Must: true},
		{Name: "leave_by", Label: "Everybody off the roof by", Hint: "Empty: what was said before today; else dusk and the end of the shift decide", Kind: "time"},
	}},
	{Type: "day-ended", Title: "Day ended", Hint: "Name what stays open overnight, who accepts it and why.", Fields: []field{
		{Name: "left_open", Label: "Left open", Kind: "places", From: "places"}, {Name: "accepted_by", Label: "Accepted by", Kind: "text", From: "people"}, whyField,
	}},
	{Type: "weather-tight-reached", Title: "Weather-tight reached", Fields: []field{{Name: "where", Label: "Where", Kind: "choice", From: "roof", Must: true}}},
	{Type: "material-received", Title: "Material received", Fields: []field{{Name: "order", Label: "Order", Hint: "Its number, if it came with one", Kind: "text", From: "orders"}}, Lines: []field{
		line(material), line(field{Name: "amount", Label: "How much came", Hint: "40', 120 sqft, 12 each, 3 rolls; 0 each if none of it can be used", Kind: "text"}),
		line(field{Name: "short", Label: "Besides, how much is short", Kind: "text"}), line(field{Name: "damaged", Label: "Besides, how much came damaged", Kind: "text"}),
	}},
	{Type: "material-spoiled", Title: "Material spoiled", Fields: []field{material, mustAmount, mustWhy}},
	{Type: "material-counted", Title: "Material counted", Fields: []field{material, mustAmount, whyField}},
	{Type: "material-returned", Title: "Material returned", Fields: []field{material, mustAmount, whyField}},
	{Type: "material-moved", Title: "Material moved", Fields: []field{material, mustAmount, {Name: "to", Label: "To which roof", Kind: "choice", From: "jobs", Must: true}, {Name: "offcut", Label: "Which offcut, if it is one", Kind: "text"}}},
	{Type: "material-ordered", Title: "Material ordered", Fields: []field{{Name: "order", Label: "Order", Hint: "Its number at the firm that ordered", Kind: "text", Must: true}}, Lines: []field{
		line(material), line(field{Name: "amount", Label: "How much", Hint: "40', 120 sqft, 12 each, 3 rolls", Kind: "text"}), line(field{Name: "due", Label: "Due", Kind: "day"}),
	}},
	{Type: "check-signed", Title: "Check signed", Fields: []field{{Name: "check", Label: "Check", Kind: "choice", From: "checks", Must: true}, picturesField}},
	{Type: "punch-assigned", Title: "Loose end assigned", Fields: []field{item(roofjob.ItemOpen, roofjob.ItemFixed), toWhom}},
	{Type: "punch-verified", Title: "Loose end verified", Fields: []field{item(roofjob.ItemFixed)}},
	{Type: "punch-reopened", Title: "Loose end opened again", Fields: []field{item(roofjob.ItemFixed, roofjob.ItemVerified, roofjob.ItemWaived), mustWhy}},
	{Type: "punch-waived", Title: "Loose end waived", Fields: []field{item(roofjob.ItemOpen, roofjob.ItemFixed), mustWhy}},
	{Type: "photo-attached", Title: "Picture attached", First: "to", Fields: []field{
		{Name: "to", Label: "To report", Kind: "choice", From: "reports", Must: true}, {Name: "photo", Label: "Picture", Hint: "JPEG or PNG", Kind: "picture", Must: true},
	}},
	{Type: "report-withdrawn", Title: "Report withdrawn", First: "report", Fields: []field{{Name: "report", Label: "Report", Kind: "choice", From: "reports", Must: true}, mustWhy}},
	{Type: "crew-planned", Title: "Crew planned", Fields: []field{
		{Name: "heads", Label: "People", Kind: "number", Must: true}, {Name: "from", Label: "From", Kind: "day", Must: true}, {Name: "shift_minutes", Label: "Minutes a day", Kind: "number", Must: true},
	}},
	{Type: "estimate-issued", Title: "Estimate issued", Fields: []field{whyField}},
	{Type: "roof-drawn", Title: "Roof drawn anew", Fields: []field{{Name: "roof", Label: "The roof file", Hint: "JSON, as the takeoff verb reads it", Kind: "json", Must: true}, mustWhy}},
	{Type: "assembly-chosen", Title: "Another assembly chosen", Fields: []field{{Name: "assembly", Label: "The assembly's document", Hint: "JSON; /v1/schemas/assembly.json describes it", Kind: "json", Must: true}, mustWhy}},
	{Type: "job-closed", Title: "Job closed", Fields: []field{whyField}},
	{Type: "job-reopened", Title: "Job opened again", Fields: []field{mustWhy}},
}

func formOf(kind string) (form, bool) {
	i := slices.IndexFunc(forms, func(f form) bool { return f.Type == kind })
	if i < 0 {
		return form{}, false
	}
	return forms[i], true
}
