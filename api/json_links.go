package api

import (
	"context"

	"toeboard/schedule"
)

// ListPrivateLinks gives what opens a scaffold firm's page or feed.
func (j *jsonServer) ListPrivateLinks(ctx context.Context, _ ListPrivateLinksRequestObject) (ListPrivateLinksResponseObject, error) {
	all, err := j.PrivateLinks(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	return ListPrivateLinks200JSONResponse{ScaffoldFirms: mapped(all, func(o OpenedBy) PrivateLinksOfFirm {
		return PrivateLinksOfFirm{ScaffoldFirmID: o.Firm.ID, ScaffoldFirm: o.Firm.Name, Links: mapped(o.Links, j.linkView), OpenInMails: mapped(o.Mails, j.linkView)}
	})}, nil
}

func (j *jsonServer) linkView(l schedule.Link) PrivateLink {
	return PrivateLink{ID: l.ID, Purpose: PrivateLinkPurpose(l.Purpose), Opens: l.Opens(j.now()), MadeAt: l.CreatedAt, MadeBy: l.MadeBy, SentTo: optionalText(l.SentTo),
		ExpiresAt: optionalTime(l.Expires), EndedAt: optionalTime(l.RevokedAt), LastUsedAt: optionalTime(l.LastUsed)}
}

// GivePrivateLink makes a page and a feed and tells their addresses once.
func (j *jsonServer) GivePrivateLink(ctx context.Context, r GivePrivateLinkRequestObject) (GivePrivateLinkResponseObject, error) {
	c := callerOf(ctx)
	made, err := j.GiveLink(ctx, c.Firm, r.ScaffoldFirmID, r.Body.Until, c.Name)
	if err != nil {
		return nil, err
	}
	return GivePrivateLink200JSONResponse{Page: made.Page, Feed: made.Feed, Until: r.Body.Until}, nil
}

// KeepPrivateLink has an address end with another day.
func (j *jsonServer) KeepPrivateLink(ctx context.Context, r KeepPrivateLinkRequestObject) (KeepPrivateLinkResponseObject, error) {
	if err := j.KeepLink(ctx, callerOf(ctx).Firm, r.LinkID, r.Body.Until); err != nil {
		return nil, err
	}
	return KeepPrivateLink204Response{}, nil
}

// EndPrivateLink ends an address for good.
func (j *jsonServer) EndPrivateLink(ctx context.Context, r EndPrivateLinkRequestObject) (EndPrivateLinkResponseObject, error) {
	if err := j.schedule.RevokeLink(ctx, callerOf(ctx).Firm, r.LinkID, j.now()); err != nil {
		return nil, err
	}
	return EndPrivateLink204Response{}, nil
}

// EndPrivateLinks ends a scaffold firm's addresses.
func (j *jsonServer) EndPrivateLinks(ctx context.Context, r EndPrivateLinksRequestObject) (EndPrivateLinksResponseObject, error) {
	which := schedule.Purpose("")
	if r.Body.Which == LinksEndWhichMails {
		which = schedule.ForMail
	}
	ended, err := j.schedule.RevokeLinks(ctx, callerOf(ctx).Firm, r.ScaffoldFirmID, which, j.now())
	if err != nil {
		return nil, err
	}
	return EndPrivateLinks200JSONResponse{Ended: ended}, nil
}
