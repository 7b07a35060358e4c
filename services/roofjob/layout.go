package roofjob

import (
	"cmp"

	"bydark/events"
)

// layout is how a fold that decides is written and read back. What follows from the
// documents and the measures is not in it; see redrawn. Whoever changes what is laid out,
// or what folding means, counts FoldVersion on.
func (f *fold) layout(c *codec) {
	paper(c, &f.roofDoc)
	paper(c, &f.buildDoc)
	maybe(c, &f.opened, layoutOpened)
	list(c, &f.tape, fact[events.MeasureTaken])
	f.first.layout(c)
	c.time(&f.issued)
	table(c, f.contradicts, compareGauges, layoutGaugeKey, (*codec).bool)
	table(c, f.unfit, compareGauges, layoutGaugeKey, wordlist[events.ReportID])
	table(c, f.gauged, compareGauges, layoutGaugeKey, layoutGauge)
	named(c, f.work, pointed(layoutWork))
	named(c, f.panels, pointed(func(c *codec, p *panel) { c.time(&p.cut); c.time(&p.set) }))
	named(c, f.stock, pointed(layoutMovement))
	c.amount(&f.metal.used)
	c.bool(&f.metal.told)
	c.bool(&f.metal.beyond)
	c.time(&f.metal.first)
	c.time(&f.metal.last)
	f.layoutItems(c)
	named(c, f.signed, layoutSignature)
	named(c, f.photos, wordlist[events.PhotoDigest])
	named(c, f.hasty, (*codec).bool)
	maybe(c, &f.day, fact[events.DayStarted])
	c.time(&f.dayAt)
	c.number(&f.days)
	maybe(c, &f.left, layoutLeft)
	c.number(&f.heads)
	c.time(&f.closed)
	c.time(&f.latest)
	f.timing.layout(c)
	list(c, &f.warnings, (*codec).event)
}

// redrawn puts what follows from documents and measures back after they were read.
func (f *fold) redrawn(s *State) error {
	if len(f.roofDoc) == 0 || len(f.buildDoc) == 0 {
		return nil
	}
	var err error
	if f.drawn, err = s.drawings.of(f.roofDoc, f.buildDoc); err != nil {
		return err
	}
	now, err := s.drawings.measured(f.drawn, f.likely())
	f.drawing, f.resolved = now.drawing, now.resolved
	return err
}

// layoutOpened leaves the two documents to be kept once.
func layoutOpened(c *codec, o *events.JobOpened) {
	roofDoc, buildDoc := o.Roof, o.Assembly
	paper(c, &roofDoc)
	paper(c, &buildDoc)
	bare := *o
	bare.Roof, bare.Assembly = nil, nil
	if fact(c, &bare); !c.writes {
		*o = bare
		o.Roof, o.Assembly = roofDoc, buildDoc
	}
}

func (s *sheet) layout(c *codec) {
	paper(c, &s.roofDoc)
	paper(c, &s.buildDoc)
	list(c, &s.measures, fact[events.MeasureTaken])
}

func layoutGaugeKey(c *codec, g *gauge) {
	words(c, &g.where)
	words(c, &g.of)
}

func compareGauges(a, b gauge) int {
	return cmp.Or(cmp.Compare(a.where, b.where), cmp.Compare(a.of, b.of))
}

func layoutGauge(c *codec, g *Gauge) {
	words(c, &g.Report)
	c.time(&g.At)
	words(c, &g.By)
	words(c, &g.Where)
	words(c, &g.Of)
	wordlist(c, &g.Values)
	c.bool(&g.Fits)
	words(c, &g.Verdict)
}

func layoutWork(c *codec, w *work) {
	c.amount(&w.opened)
	c.bool(&w.stripped)
	if !c.writes {
		w.done = map[events.StepID]*progress{}
	}
	named(c, w.done, pointed(func(c *codec, p *progress) {
		c.amount(&p.done)
		c.amount(&p.over)
		c.amount(&p.lost)
		c.time(&p.first)
		c.time(&p.last)
	}))
	c.number(&w.lifted)
	c.time(&w.covered)
	c.time(&w.claimed)
	c.time(&w.bared)
	c.time(&w.reopened)
}

func layoutMovement(c *codec, m *Movement) {
	c.amount(&m.Ordered)
	c.amount(&m.Received)
	c.amount(&m.Short)
	c.amount(&m.Damaged)
	c.amount(&m.Spoiled)
	c.amount(&m.Returned)
	c.amount(&m.MovedOut)
	c.amount(&m.Counted)
	c.amount(&m.Expected)
	c.time(&m.CountedAt)
}

// layoutItems leaves the items as they were written until somebody asks for one: there
// may be thousands, and few reports are of any.
func (f *fold) layoutItems(c *codec) {
	if !c.writes {
		words(c, &f.earlier)
		c.bytes(&f.earlierIDs.old)
		return
	}
	newer, ids := &codec{writes: true}, taken{old: f.earlierIDs.old}
	for _, i := range f.items {
		layoutItem(newer, i)
		ids.add(i.ID, 0)
	}
	ids.settle()
	all := f.earlier + string(newer.out)
	words(c, &all)
	c.bytes(&ids.old)
}

// readItems reads the items that were only kept as they were written.
func (f *fold) readItems() {
	c := &codec{in: f.earlier}
	var all []*Item
	for len(c.in) > 0 {
		i := new(Item)
		layoutItem(c, i)
		all = append(all, i)
	}
	if c.err != nil {
		panic("roofjob: items of a snapshot whose sum is right cannot be read")
	}
	f.items, f.earlier, f.earlierIDs = append(all, f.items...), "", taken{}
	for _, i := range all {
		f.item[i.ID] = i
	}
}

// find is the item of an id; nil when there is none.
func (f *fold) find(id events.ReportID) *Item {
	if i := f.item[id]; i != nil {
		return i
	}
	if _, ok := f.earlierIDs.sequence(id); ok {
		f.readItems()
	}
	return f.item[id]
}

func layoutItem(c *codec, i *Item) {
	words(c, &i.ID)
	words(c, &i.Where)
	words(c, &i.What)
	words(c, &i.Blocks)
	words(c, &i.State)
	c.bool(&i.Derived)
	c.time(&i.Raised)
	words(c, &i.RaisedBy)
	words(c, &i.Assigned)
	c.time(&i.Fixed)
	words(c, &i.FixedBy)
	c.time(&i.Closed)
	words(c, &i.ClosedBy)
	words(c, &i.Reason)
	wordlist(c, &i.Photos)
}

func layoutSignature(c *codec, s *Signature) {
	c.time(&s.At)
	words(c, &s.By)
	words(c, &s.Report)
	wordlist(c, &s.Photos)
}

func layoutLeft(c *codec, l *Left) {
	c.time(&l.At)
	words(c, &l.By)
	wordlist(c, &l.Open)
	words(c, &l.AcceptedBy)
	words(c, &l.Reason)
}

func (t *timing) layout(c *codec) {
	if !c.writes {
		t.learned, t.open = map[events.StepID]*lesson{}, map[events.StepID]float64{}
	}
	named(c, t.learned, pointed(func(c *codec, l *lesson) { c.float(&l.weight); c.float(&l.sum); c.float(&l.squares) }))
	named(c, t.open, (*codec).float)
	c.time(&t.from)
	c.time(&t.last)
	c.time(&t.began)
	c.number(&t.heads)
}
