package takeoff

import (
	"fmt"
	"io"

	"github.com/xuri/excelize/v2"
)

// WriteWorkbook writes the estimate as an XLSX workbook, a sheet each for order, cut
// list, edges and checks. Text goes in as text, never as a formula. Errors are w's.
func (e *Estimate) WriteWorkbook(w io.Writer) error {
	book := excelize.NewFile()
	bold, err := book.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return fmt.Errorf("workbook of %s: %w", e.Roof, err)
	}
	for i, s := range e.Sheets() {
		if i == 0 {
			err = book.SetSheetName("Sheet1", s.Name)
		} else {
			_, err = book.NewSheet(s.Name)
		}
		if err == nil {
			err = fill(book, s, bold)
		}
		if err != nil {
			return fmt.Errorf("sheet %s: %w", s.Name, err)
		}
	}
	if _, err := book.WriteTo(w); err != nil {
		return fmt.Errorf("workbook of %s: %w", e.Roof, err)
	}
	return nil
}

func fill(book *excelize.File, s Sheet, bold int) error {
	out, err := book.NewStreamWriter(s.Name)
	if err != nil {
		return err
	}
	if err := out.SetColWidth(1, len(s.Heads), 16); err != nil {
		return err
	}
	heads := make([]any, len(s.Heads))
	for k, head := range s.Heads {
		heads[k] = excelize.Cell{StyleID: bold, Value: head}
	}
	if err := out.SetRow("A1", heads); err != nil {
		return err
	}
	for i, row := range s.Rows {
		at, err := excelize.CoordinatesToCellName(1, i+2)
		if err != nil {
			return err
		}
		cells := make([]any, len(row))
		for k, cell := range row {
			cells[k] = cell
			if _, isNumber := cell.(float64); !isNumber {
				cells[k] = guarded(cell)
			}
		}
		if err := out.SetRow(at, cells); err != nil {
			return err
		}
	}
	return out.Flush()
}
