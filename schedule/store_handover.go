package schedule

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"path"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/weather/fault"
)

// MaxHandoverFile is how large a handover certificate may be [bytes].
const MaxHandoverFile = 5 << 20

// HandoverFile is a handover certificate as a scaffold firm sent it. The file
// alone makes nothing clear: a competent person records what it says as a
// scaffold report.
type HandoverFile struct {
	ID         uuid.UUID
	Booking    uuid.UUID
	Name       string
	MediaType  string // application/pdf, image/jpeg or image/png
	Hash       [32]byte
	UploadedBy string
	UploadedAt time.Time // UTC
}

// AddHandoverFile keeps a file. mediaType is what its content was found to be,
// whatever its name says. The same file of the same booking again is kept once.
func (s *Store) AddHandoverFile(ctx context.Context, firm, booking uuid.UUID, name, mediaType string, body []byte, by string, now time.Time) error {
	if len(body) > MaxHandoverFile {
		return fault.Bad("certificate", fmt.Sprintf("%d bytes", len(body)), "a file of at most 5 MiB")
	}
	switch mediaType {
	case "application/pdf", "image/jpeg", "image/png":
	default:
		return fault.Bad("certificate", mediaType, "a PDF, or a photograph as JPEG or PNG")
	}
	hash := sha256.Sum256(body)
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO handover_file (firm_id, file_id, booking_id, name, media_type, body, body_hash, uploaded_by, uploaded_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT ON CONSTRAINT handover_file_once DO NOTHING`,
			firm, s.ids(), booking, fileName(name), mediaType, body, hash[:], by, instant(now))
		if err != nil {
			return fmt.Errorf("keep a handover certificate: %w", err)
		}
		return nil
	})
}

// fileName keeps of a name what can stand in a header and on a page.
func fileName(name string) string {
	name = path.Base(strings.ReplaceAll(name, "\\", "/"))
	name = strings.Map(func(r rune) rune {
		if r < ' ' || r == '"' || r == '/' || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(name, ""))
	if r := []rune(name); len(r) > 100 {
		name = string(r[len(r)-100:])
	}
	if name == "" || name == "." {
		return "handover"
	}
	return name
}

// HandoverFiles lists the firm's handover certificates, the newest first.
func (s *Store) HandoverFiles(ctx context.Context, firm uuid.UUID) (all []HandoverFile, err error) {
	err = s.read(ctx, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT file_id, booking_id, name, media_type, body_hash, uploaded_by, uploaded_at FROM handover_file
			WHERE firm_id = $1 ORDER BY uploaded_at DESC, file_id`, firm)
		if err != nil {
			return fmt.Errorf("list the handover certificates: %w", err)
		}
		all, err = pgx.CollectRows(rows, scanHandover)
		return err
	})
	return all, err
}

func scanHandover(r pgx.CollectableRow) (f HandoverFile, err error) {
	var hash []byte
	err = r.Scan(&f.ID, &f.Booking, &f.Name, &f.MediaType, &hash, &f.UploadedBy, &f.UploadedAt)
	copy(f.Hash[:], hash)
	f.UploadedAt = f.UploadedAt.UTC()
	return f, err
}

// HandoverFile gives one certificate with its content.
func (s *Store) HandoverFile(ctx context.Context, firm, id uuid.UUID) (f HandoverFile, body []byte, err error) {
	err = s.read(ctx, firm, func(tx pgx.Tx) error {
		var hash []byte
		err := tx.QueryRow(ctx, `SELECT file_id, booking_id, name, media_type, body_hash, uploaded_by, uploaded_at, body FROM handover_file WHERE firm_id = $1 AND file_id = $2`, firm, id).
			Scan(&f.ID, &f.Booking, &f.Name, &f.MediaType, &hash, &f.UploadedBy, &f.UploadedAt, &body)
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Missing("certificate", id.String())
		}
		if err != nil {
			return fmt.Errorf("read a handover certificate: %w", err)
		}
		copy(f.Hash[:], hash)
		return nil
	})
	if err == nil && sha256.Sum256(body) != f.Hash {
		return f, nil, fmt.Errorf("handover certificate %s is not what was kept: its hash differs", id)
	}
	return f, body, err
}
