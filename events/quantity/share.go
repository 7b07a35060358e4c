package quantity

import "math/big"

// Share is the part of a that done is of whole, rounded half up to a's unit: what a
// step that is done so far takes of its whole need. A whole of zero or less gives
// all of a; done beyond whole counts as whole. Unlike done and whole give an
// *UnlikeError.
func (a Amount) Share(done, whole Amount) (Amount, error) {
	if _, _, err := like(done, whole); err != nil {
		return Amount{}, err
	}
	if whole.n <= 0 || done.n >= whole.n {
		return a, nil
	}
	if done.n <= 0 {
		return Amount{a.kind, 0, a.noun}, nil
	}
	v := new(big.Int).Mul(big.NewInt(a.n), big.NewInt(done.n))
	v.Lsh(v, 1).Add(v, big.NewInt(whole.n))
	v.Div(v, new(big.Int).Lsh(big.NewInt(whole.n), 1))
	return Amount{a.kind, v.Int64(), a.noun}, nil
}

// Fraction is done over whole between 0 and 1, for comparing and showing; never to
// be added up. A whole of zero gives 1.
func Fraction(done, whole Amount) float64 {
	switch {
	case whole.n <= 0 || done.n >= whole.n:
		return 1
	case done.n <= 0:
		return 0
	}
	return float64(done.n) / float64(whole.n)
}

// Least is the smaller of two like amounts; unlike ones give an *UnlikeError.
func Least(a, b Amount) (Amount, error) {
	c, err := a.Cmp(b)
	if err != nil {
		return Amount{}, err
	}
	if c <= 0 {
		return a, nil
	}
	return b, nil
}
