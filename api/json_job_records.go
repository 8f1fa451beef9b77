package api

import (
	"context"
	"maps"

	"toeboard/safety"
)

// JobRecords gives what is recorded of a job beside its mornings.
func (j *jsonServer) JobRecords(ctx context.Context, r JobRecordsRequestObject) (JobRecordsResponseObject, error) {
	b, err := j.Service.ReadBook(ctx, callerOf(ctx).Firm, r.Ref)
	if err != nil {
		return nil, err
	}
	return JobRecords200JSONResponse{
		JobRef: b.Job.Ref, MayStrike: ConditionState(b.MayStrike.Key()), StrikeSays: b.StrikeSays, DeadTestsOpen: append([]string{}, b.NotYet...),
		Records: mapped(b.Records, func(r safety.Record) JobRecord {
			return JobRecord{ID: r.ID, Kind: JobRecordKind(r.Kind), At: r.At.UTC(), By: r.ByName, Body: maps.Clone(map[string]string(r.Body)), RecordedAt: r.RecordedAt.UTC()}
		}),
		Tests: mapped(b.Tests, func(t safety.TestResult) ElectricalResult {
			return ElectricalResult{Test: t.Test.Key, Circuit: t.Circuit, State: ConditionState(t.State.Key()), Says: t.Says, Source: t.Test.Source, By: t.By, At: t.At.UTC()}
		}),
		Modules: mapped(b.Modules, func(m safety.ModulePlace) ModulePlace {
			return ModulePlace{Row: m.Row, Col: m.Col, Serial: m.Serial}
		}),
		Isolations: mapped(b.Isolations, isolationView),
		Cleared: mapped(b.Cleared, func(c safety.Clearance) ModuleClearance {
			return ModuleClearance{Row: c.Was.Row, Col: c.Was.Col, Serial: c.Was.Serial, PlacedBy: c.PlacedBy, PlacedAt: c.Was.At.UTC(), By: c.ByName, At: c.At.UTC()}
		}),
	}, nil
}

// AddJobRecord keeps a record of a job.
func (j *jsonServer) AddJobRecord(ctx context.Context, r AddJobRecordRequestObject) (AddJobRecordResponseObject, error) {
	got, err := j.Service.AddRecord(ctx, callerOf(ctx), recordID(ctx), r.Ref, string(r.Body.Kind), valueOf(r.Body.At), safety.Fields(r.Body.Body), valueOf(r.Body.Photo))
	if err != nil {
		return nil, err
	}
	return AddJobRecord201JSONResponse{ID: got.ID, At: got.RecordedAt.UTC()}, nil
}

// PlaceModule notes where a module sits; an empty serial takes it off.
func (j *jsonServer) PlaceModule(ctx context.Context, r PlaceModuleRequestObject) (PlaceModuleResponseObject, error) {
	if err := j.Service.PlaceModule(ctx, callerOf(ctx), recordID(ctx), r.Ref, r.Body.Row, r.Body.Col, r.Body.Serial); err != nil {
		return nil, err
	}
	return PlaceModule204Response{}, nil
}
