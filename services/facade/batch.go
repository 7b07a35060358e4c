package facade

import (
	"bytes"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"fmt"

	"bydark/events"
)

// untidy is how a batch is read whole: what is wrong with the text or the names inside one report is that report's alone.
var untidy = json.JoinOptions(jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))

// checkBatch refuses a body of reports only for what keeps it from being cut into its
// reports. Each report is held to checkJSON by itself, when its turn comes.
func checkBatch(data []byte) error {
	d := jsontext.NewDecoder(bytes.NewBuffer(data), untidy)
	lists := 0
	for values := 0; values == 0 || d.StackDepth() > 0; values++ {
		if values > mostValues {
			return &events.Refusal{Code: "too-many-values", Where: clip(string(d.StackPointer())), Want: fmt.Sprintf("at most %d values", mostValues)}
		}
		token, err := d.ReadToken()
		if err != nil {
			return unreadableJSON(err)
		}
		if d.StackDepth() != 1 {
			continue
		}
		if kind, n := d.StackIndex(1); kind == '{' && n%2 == 1 && token.Kind() == '"' && token.String() == "reports" {
			lists++
		}
	}
	if lists > 1 {
		return &events.Refusal{Code: "doubled-member", Where: "/reports", Want: "JSON of the route's type, each member once and spelt exactly"}
	}
	return nothingBehind(d)
}

// readBatch reads a body that checkBatch has let through.
func readBatch(data []byte, into *reportsDoc) error {
	return json.Unmarshal(data, into, json.RejectUnknownMembers(true), untidy)
}
