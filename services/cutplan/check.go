package cutplan

import (
	"fmt"
	"strconv"
	"strings"

	"bydark/events"
)

// check refuses what cannot be planned, naming the place.
func (q *Request) check() error {
	show := func(n int64) string { return Measure{n, q.Plain}.String() }
	switch {
	case len(q.Stock) == 0:
		return refuse("no-stock", "stock", "", "at least one kind of bar")
	case len(q.Stock) > MaxStocks:
		return refuse("too-many", "stock", strconv.Itoa(len(q.Stock)), fmt.Sprintf("%d kinds of bar at most", MaxStocks))
	case len(q.Pieces) == 0:
		return refuse("no-pieces", "pieces", "", "at least one piece")
	case len(q.Pieces) > MaxLines:
		return refuse("too-many", "pieces", strconv.Itoa(len(q.Pieces)), fmt.Sprintf("%d lines at most", MaxLines))
	case q.Kerf < 0 || q.Kerf > MaxLength:
		return refuse("out-of-range", "kerf", show(q.Kerf), "zero or more, at most "+show(MaxLength))
	case q.Keep < 0 || q.Keep > MaxLength:
		return refuse("out-of-range", "keep", show(q.Keep), "zero or more, at most "+show(MaxLength))
	}
	longest := int64(0)
	for i, s := range q.Stock {
		where := fmt.Sprintf("stock[%d]", i)
		switch {
		case s.Length <= 0 || s.Length > MaxLength:
			return refuse("out-of-range", where+".length", show(s.Length), "above zero, at most "+show(MaxLength))
		case s.Count != nil && *s.Count < 0:
			return refuse("out-of-range", where+".count", strconv.FormatInt(*s.Count, 10), "zero or more, or none for as many as needed")
		case s.Price != nil && (*s.Price < 0 || *s.Price > maxPrice*priceParts):
			return refuse("out-of-range", where+".price", priceText(*s.Price), fmt.Sprintf("zero to %d", maxPrice))
		}
		if s.Count == nil || *s.Count > 0 {
			longest = max(longest, s.Length)
		}
	}
	return q.checkPieces(longest)
}

func (q *Request) checkPieces(longest int64) error {
	show := func(n int64) string { return Measure{n, q.Plain}.String() }
	total := int64(0)
	lengths := map[string]int64{}
	for i, p := range q.Pieces {
		where := fmt.Sprintf("pieces[%d]", i)
		if p.Mark != "" {
			where += " (" + clip(p.Mark) + ")"
		}
		switch {
		case p.Length <= 0:
			return refuse("out-of-range", where+".length", show(p.Length), "above zero")
		case p.Length > longest:
			return refuse("too-long", where+".length", show(p.Length), "at most "+show(longest)+", the longest bar")
		case abs(p.LowRun) >= p.Length || abs(p.HighRun) >= p.Length:
			return refuse("out-of-range", where+".low_run and high_run", show(p.LowRun)+" and "+show(p.HighRun), "less than the length either way")
		case p.Count <= 0:
			return refuse("out-of-range", where+".count", strconv.FormatInt(p.Count, 10), "1 or more")
		case p.Count > MaxPieces-total:
			return refuse("too-many", where+".count", strconv.FormatInt(p.Count, 10),
				fmt.Sprintf("%d pieces in all at most", MaxPieces))
		}
		total += p.Count
		if n, ok := lengths[p.Mark]; ok && n != p.Length && p.Mark != "" {
			return refuse("doubled-mark", where+".length", show(p.Length), "one length for one mark; it was "+show(n)+" above")
		}
		lengths[p.Mark] = p.Length
	}
	return q.checkPrices()
}

// checkPrices wants a price on all new bars or on none, else cheapest means nothing.
func (q *Request) checkPrices() error {
	priced := false
	for _, s := range q.Stock {
		priced = priced || s.Price != nil
	}
	if !priced {
		return nil
	}
	var missing []string
	for i, s := range q.Stock {
		if s.Price == nil && s.Count == nil {
			missing = append(missing, fmt.Sprintf("stock[%d].price", i))
		}
	}
	if missing != nil {
		return &events.Refusal{Code: "price-missing", Where: "stock", Want: "a price for every kind of new bar, or for none",
			Missing: missing}
	}
	return nil
}

func clip(s string) string {
	const most = 80
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}

// priceText prints ten-thousandths without trailing zeros.
func priceText(p int64) string {
	sign := ""
	if p < 0 {
		sign, p = "-", -p
	}
	s := fmt.Sprintf("%s%d.%04d", sign, p/priceParts, p%priceParts)
	for s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	return s
}
