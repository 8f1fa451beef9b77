package api

import (
	"context"
	"net/http"

	"toeboard/safety"
	"toeboard/safety/paper"
)

// GetRecord tells what the firm's log is now.
func (j *jsonServer) GetRecord(ctx context.Context, _ GetRecordRequestObject) (GetRecordResponseObject, error) {
	r, err := j.safety.Record(ctx, callerOf(ctx).Firm, "", 0, 1)
	if err != nil {
		return nil, err
	}
	out := GetRecord200JSONResponse{Entries: r.Entries, Unsigned: r.Unsigned(), Keys: append([]string{}, r.Keys...)}
	to, err := j.safety.HeadRecipient(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	out.Recipient = recipientView(to)
	if len(r.Heads) > 0 {
		out.Head = headView(&r.Heads[0])
	}
	return out, nil
}

func recipientView(r safety.HeadRecipient) HeadRecipient {
	return HeadRecipient{Version: r.Version, Name: r.Name, Address: r.Address, SetBy: optionalText(r.SetBy), SetAt: optionalTime(r.SetAt)}
}

// SetHeadRecipient sets to whom the signed head is mailed each night.
func (j *jsonServer) SetHeadRecipient(ctx context.Context, r SetHeadRecipientRequestObject) (SetHeadRecipientResponseObject, error) {
	got, err := j.Service.SetHeadRecipient(ctx, callerOf(ctx), safety.HeadRecipient{Version: r.Body.Version, Name: r.Body.Name, Address: r.Body.Address})
	if err != nil {
		return nil, err
	}
	return SetHeadRecipient200JSONResponse(recipientView(got)), nil
}

func headView(h *safety.SignedHead) *RecordHead {
	if h == nil {
		return nil
	}
	return &RecordHead{Size: h.Size, Root: h.Root.String(), SignedAt: h.At.UTC(), Text: h.Text}
}

// SignRecordHead signs the log as it is now.
func (j *jsonServer) SignRecordHead(ctx context.Context, _ SignRecordHeadRequestObject) (SignRecordHeadResponseObject, error) {
	h, err := j.SignHead(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	return SignRecordHead201JSONResponse(*headView(&h)), nil
}

// GetRecordEntry gives one entry with its proof.
func (j *jsonServer) GetRecordEntry(ctx context.Context, r GetRecordEntryRequestObject) (GetRecordEntryResponseObject, error) {
	p, err := j.safety.ProveRecord(ctx, callerOf(ctx).Firm, r.Seq)
	if err != nil {
		return nil, err
	}
	out := GetRecordEntry200JSONResponse{Seq: r.Seq, Name: p.Entry.Name(), Text: p.Text, Leaf: p.Leaf.String(), Head: headView(p.Head),
		Proof: []Sha256{}, Wrong: append([]string{}, p.Faults...)}
	for _, h := range p.Proof {
		out.Proof = append(out.Proof, h.String())
	}
	return out, nil
}

// packJSON is a pack written as it is, so that the file and the answer are one.
type packJSON struct{ paper.Pack }

// VisitGetPackResponse writes the pack.
func (p packJSON) VisitGetPackResponse(w http.ResponseWriter) error {
	text, err := p.JSON()
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	_, err = w.Write(text)
	return err
}

// GetPack gives one crew's papers at one job on one day.
func (j *jsonServer) GetPack(ctx context.Context, r GetPackRequestObject) (GetPackResponseObject, error) {
	p, err := j.Pack(ctx, callerOf(ctx), r.Crew, r.Params.JobRef, r.Date)
	if err != nil {
		return nil, err
	}
	return packJSON{p}, nil
}
