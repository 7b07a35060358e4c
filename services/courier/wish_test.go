package courier

import (
	"net/netip"
	"testing"

	"bydark/events"
	"bydark/services/access"
)

func TestWishesThatCannotBeKept(t *testing.T) {
	t.Parallel()
	h := open(t, func(c *Config) { c.Guard = Guard{Allow: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}} })
	for _, c := range []struct {
		w    Wish
		code string // empty: it can be kept
	}{
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/roofs"}, ""},
		{Wish{By: events.Webhook, To: "http://10.1.2.3:8080/x"}, ""},
		{Wish{By: events.Webhook, To: "http://hooks.larch.example/roofs"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "https://u:p@hooks.larch.example/"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/#x"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "file:///etc/passwd"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "https:/x"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "gopher://10.1.2.3/"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: ""}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "https://127.0.0.1/"}, "kept-address"},
		{Wish{By: events.Webhook, To: "https://[::ffff:169.254.169.254]/latest"}, "kept-address"},
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/", Wants: []string{"panel-sat"}}, "unknown-event"},
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/", Wants: []string{"door"}}, "unknown-event"},
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/", Role: "boss"}, "unknown-role"},
		{Wish{By: events.Mail, To: "office@larch.example"}, "no-mail"},
		{Wish{By: "pigeon", To: "x"}, "unknown-channel"},
	} {
		_, _, err := h.courier.Subscribe(t.Context(), h.owner, c.w)
		r := events.RefusalIn(err)
		if c.code == "" && err != nil || c.code != "" && (r == nil || r.Code != c.code || r.Want == "") {
			t.Errorf("%+v: %v, want %q", c.w, err, c.code)
		}
	}
}

// A subscriber is told what it wants and no more; a role narrows warnings only.
func TestWants(t *testing.T) {
	t.Parallel()
	warned := func(roles ...events.Role) Message {
		w := events.ExposureWarned{}
		for _, r := range roles {
			w.Told = append(w.Told, events.Told{Role: r})
		}
		return Message{Event: events.Event{Body: w}}
	}
	set := Message{Event: events.Event{Body: events.PanelSet{}}}
	for i, c := range []struct {
		m    Message
		s    access.Subscriber
		want bool
	}{
		{set, access.Subscriber{Wants: []string{Everything}}, true},
		{set, access.Subscriber{Wants: []string{"work"}}, true},
		{set, access.Subscriber{Wants: []string{"panel-set"}}, true},
		{set, access.Subscriber{Wants: []string{"warning", "panel-cut"}}, false},
		{set, access.Subscriber{Wants: []string{"work"}, Role: access.Owner}, true},
		{warned(access.Lead), access.Subscriber{Wants: []string{"warning"}}, true},
		{warned(access.Lead), access.Subscriber{Wants: []string{"warning"}, Role: access.Owner}, false},
		{warned(access.Lead, access.Owner), access.Subscriber{Wants: []string{"exposure-warned"}, Role: access.Owner}, true},
	} {
		if got := c.m.wanted(c.s); got != c.want {
			t.Errorf("row %d: %v", i, got)
		}
	}
}
