package facade

import (
	"context"
	"fmt"

	"bydark/events"
	"bydark/projections"
	"bydark/services/access"
	"bydark/services/photos"
)

// work are the routes of jobs, reports, views and pages.
func (s *Server) work() []route {
	const mostJob, mostReportsBody = 2 << 20, 4 << 20
	return []route{
		api(post, "/v1/jobs", access.OpenJob, "Open a job", s.openJob).upTo(mostJob).with(created),
		api(get, "/v1/jobs", access.ReadJobs, "The board: one row a roof", s.board),
		api(get, "/v1/jobs/{job}", access.ReadJobs, "One roof of the board", s.job),
		api(post, "/v1/jobs/{job}/reports", access.SendReports, "Send reports, each answered on its own", s.reports).upTo(mostReportsBody).with(s.describeReports).quickly(s.plainReports).checked(checkBatch),
		api(get, "/v1/jobs/{job}/ledger", access.ReadJobs, "Material: estimated, ordered, received, used, on hand", s.ledger).dear(2),
		api(get, "/v1/jobs/{job}/exposure", access.ReadJobs, "What is open, why, and what closes it", s.exposure),
		api(get, "/v1/jobs/{job}/tonight", access.ReadJobs, "What to close before dark", s.tonight).dear(4),
		api(get, "/v1/jobs/{job}/punch", access.ReadJobs, "The punch list", s.punch),
		api(get, "/v1/jobs/{job}/checklist", access.ReadJobs, "The closeout checklist", s.checklist),
		api(get, "/v1/jobs/{job}/record", access.ReadJobs, "The events in people's words", s.record),
		api(get, "/v1/jobs/{job}/takeoff", access.ReadJobs, "Panels, edges and the order", s.takeoff),
		api(get, "/v1/jobs/{job}/cutplan", access.ReadJobs, "What is still to be cut, and out of what", s.cutplan).dear(8),
		raw(get, "/v1/jobs/{job}/cutplan.pdf", access.ReadJobs, "The cut plan to print: bars to scale and labels", "application/pdf", s.cutSheetPDF).dear(8),
		raw(get, "/v1/jobs/{job}/cutplan.svg", access.ReadJobs, "The same pages, one below the other", "image/svg+xml", s.cutSheetSVG).dear(8),
		raw(get, "/v1/jobs/{job}/map.svg", access.ReadJobs, "The roof's map with the state of every edge", "image/svg+xml", s.roofMap),
		api(get, "/v1/materials", access.ReadBurn, "Material across all roofs", s.materials),
		raw(put, "/v1/jobs/{job}/forecast", access.SetForecast, "Give a job a forecast, JSON or CSV", "application/json", s.setForecast).takes("application/json", "text/csv"),
		raw(post, "/v1/photos", access.AddPhoto, "Keep a picture, JPEG or PNG", "application/json", s.addPhoto).takes("image/jpeg", "image/png").upTo(photos.MostBytes).dear(4),
		raw(get, "/v1/photos/{digest}", access.ReadJobs, "A picture that a report of the company names", "image/jpeg", s.photo),
		raw(get, "/v1/schemas/assembly.json", anybody, "The JSON schema of an assembly", "application/schema+json", s.assemblySchema),

		api(get, "/v1/subscribers", access.ManageSubscribers, "Whom outside the roofs are told to", s.listSubscribers),
		api(post, "/v1/subscribers", access.ManageSubscribers, "Begin to tell somebody, by webhook or mail", s.addSubscriber).with(created),
		api(post, "/v1/subscribers/{subscriber}/secret", access.ManageSubscribers, "Give a webhook another secret", s.renewSecret),
		api(post, "/v1/subscribers/{subscriber}/stop", access.ManageSubscribers, "Tell a subscriber nothing for now", s.stopSubscriber),
		api(post, "/v1/subscribers/{subscriber}/resume", access.ManageSubscribers, "Go on where a subscriber was stopped", s.resumeSubscriber),
		api(del, "/v1/subscribers/{subscriber}", access.ManageSubscribers, "End a subscriber", s.removeSubscriber),
		api(get, "/v1/undelivered", access.ManageSubscribers, "What could not be delivered", s.listUndelivered),
		api(get, "/v1/undelivered/{number}", access.ManageSubscribers, "One that could not be delivered, whole", s.readUndelivered),
		api(post, "/v1/undelivered/{number}/send", access.ManageSubscribers, "Send it again", s.sendAgain).dear(4),
		api(del, "/v1/undelivered/{number}", access.ManageSubscribers, "Drop it unsent", s.dropUndelivered),

		page(get, "/{$}", access.ReadJobs, "The board", s.boardPage),
		raw(get, "/static/style.css", anybody, "The pages' style", "text/css", s.style),
		page(get, "/open", access.OpenJob, "Open a roof", s.openPage),
		page(post, "/open", access.OpenJob, "Look at a roof, or open it", s.sendOpening).takes(formType, multipartType).upTo(mostOpening),
		page(get, "/materials", access.ReadBurn, "What every roof still needs, and when to order it", s.purchasingPage),
		page(get, "/subscribers", access.ManageSubscribers, "Subscribers, and what could not be delivered", s.subscribersPage),
		page(post, "/subscribers", access.ManageSubscribers, "Add a subscriber", s.addSubscriberForm).takes(formType).upTo(mostWish),
		page(post, "/subscribers/{subscriber}/{act}", access.ManageSubscribers, "Change a subscriber", s.changeSubscriber),
		page(post, "/undelivered/{number}/{act}", access.ManageSubscribers, "Send again, or drop", s.changeUndelivered).dear(4),
		page(get, "/jobs/{job}", access.ReadJobs, "A roof: its map and open edges", s.roofPage),
		page(get, "/jobs/{job}/tonight", access.ReadJobs, "Tonight", s.tonightPage),
		page(get, "/jobs/{job}/forecast", access.SetForecast, "Give a roof a forecast", s.forecastPage),
		page(post, "/jobs/{job}/forecast", access.SetForecast, "Keep a forecast", s.sendForecast).takes(formType, multipartType),
		page(get, "/jobs/{job}/ledger", access.ReadJobs, "The ledger", s.ledgerPage).dear(2),
		page(get, "/jobs/{job}/punch", access.ReadJobs, "The punch list", viewPage(s, "punch", "Punch list", s.punch)),
		page(get, "/jobs/{job}/cutplan", access.ReadJobs, "The cut plan", s.cutplanPage).dear(8),
		page(get, "/jobs/{job}/piece", access.ReadJobs, "One piece: where a label's code leads", s.piecePage).dear(8),
		page(get, "/jobs/{job}/checklist", access.ReadJobs, "The checklist", viewPage(s, "checklist", "Checklist", s.checklist)),
		page(get, "/jobs/{job}/record", access.ReadJobs, "The record", s.recordPage),
		page(get, "/jobs/{job}/report", access.SendReports, "Choose a report", s.reportPage),
		page(get, "/jobs/{job}/report/{type}", access.SendReports, "Fill a report in", s.formPage),
		page(post, "/jobs/{job}/report/{type}", access.SendReports, "Send a report", s.sendForm).takes(formType, multipartType).upTo(mostForm),
	}
}

// photoNamed tells whether a report of the company names a picture: a digest alone
// opens nothing.
func (s *Server) photoNamed(ctx context.Context, company events.CompanyID, digest events.PhotoDigest) (bool, error) {
	if len(digest) != 64 {
		return false, nil
	}
	var n int
	err := s.Store.Read(ctx, func(tx *projections.Tx) error {
		return tx.One(ctx, &n, `select count(*) from photo where company = ? and digest = ?`, string(company), string(digest))
	})
	if err != nil {
		return false, fmt.Errorf("look for a picture: %w", err)
	}
	return n > 0, nil
}
