package roofjob

// history is what only views tell of a job: lists that grow with it and that no decision
// goes by. A state that decides has none.
type history struct {
	cuts    []Cut
	moves   []Move
	offcuts []OffcutTurn
	orders  []Order
	// receipts are the lines of what came.
	receipts []receipt
	oddness  []Oddness
}

// history is the job's; to ask a state for it that decides is our own mistake, which an
// empty list would hide.
func (s *State) history() *history {
	if s.now.told == nil {
		panic("roofjob: a state that decides has no history")
	}
	return s.now.told
}

func (f *fold) move(m Move) {
	if f.told != nil {
		f.told.moves = append(f.told.moves, m)
	}
}
