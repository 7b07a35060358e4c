package facade

import (
	"maps"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"bydark/events"
)

// describeReports writes every type of report into openapi.json, from the event that it
// becomes. Reports are read one by one, so that one that cannot be read stops no
// other: the description is not what they are checked against.
func (s *Server) describeReports(op *huma.Operation) {
	schemas := s.api.OpenAPI().Components.Schemas
	each := &huma.Schema{Discriminator: &huma.Discriminator{PropertyName: "type", Mapping: map[string]string{}}}
	for _, name := range events.Reports() {
		component := "Report." + name
		schemas.Map()[component] = reportSchema(schemas, name)
		ref := "#/components/schemas/" + component
		each.OneOf = append(each.OneOf, &huma.Schema{Ref: ref})
		each.Discriminator.Mapping[name] = ref
	}
	least, most := 1, mostReports
	op.SkipValidateBody = true
	op.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/json": {Schema: &huma.Schema{
		Type: huma.TypeObject, Required: []string{"reports"}, AdditionalProperties: false,
		Properties: map[string]*huma.Schema{"reports": {Type: huma.TypeArray, MinItems: &least, MaxItems: &most, Items: each}},
	}}}}
}

// reportSchema is the members of an event's body and the three that every report has.
func reportSchema(schemas huma.Registry, name string) *huma.Schema {
	zero, _ := events.Zero(name) // name is one of events.Reports
	body := huma.SchemaFromType(schemas, reflect.TypeOf(zero))
	properties := map[string]*huma.Schema{
		"id":   {Type: huma.TypeString, Format: "uuid", Description: "Made by the sender; the same on every try"},
		"type": {Type: huma.TypeString, Const: name},
		"at":   {Type: huma.TypeString, Format: "date-time", Description: "When it happened"},
	}
	maps.Copy(properties, body.Properties)
	return &huma.Schema{
		Type: huma.TypeObject, Properties: properties, AdditionalProperties: false,
		Required: append([]string{"id", "type", "at"}, body.Required...),
	}
}
