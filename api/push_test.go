package api

import (
	"bytes"
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/schedule"
	"toeboard/weather/fault"
)

// device is a browser that asked to be told: it holds the keys of its
// subscription.
type device struct {
	key  *ecdh.PrivateKey
	auth []byte
}

func newDevice(t *testing.T) device {
	t.Helper()
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	must(t, err)
	d := device{key, make([]byte, 16)}
	_, err = rand.Read(d.auth)
	must(t, err)
	return d
}

func (d device) p256dh() string {
	return base64.RawURLEncoding.EncodeToString(d.key.PublicKey().Bytes())
}
func (d device) secret() string { return base64.RawURLEncoding.EncodeToString(d.auth) }

// open decrypts a push message as RFC 8291, 3.4 and RFC 8188, 2 say, written
// apart from the library that encrypts.
func (d device) open(body []byte) ([]byte, error) {
	if len(body) < 21 {
		return nil, errors.New("no header")
	}
	salt, n := body[:16], int(body[20])
	if size := binary.BigEndian.Uint32(body[16:20]); size < 18 || len(body) < 21+n {
		return nil, errors.New("a broken header")
	}
	sender, err := ecdh.P256().NewPublicKey(body[21 : 21+n])
	if err != nil {
		return nil, err
	}
	shared, err := d.key.ECDH(sender)
	if err != nil {
		return nil, err
	}
	info := "WebPush: info\x00" + string(d.key.PublicKey().Bytes()) + string(sender.Bytes())
	ikm, err := hkdf.Key(sha256.New, shared, d.auth, info, 32)
	if err != nil {
		return nil, err
	}
	cek, err := hkdf.Key(sha256.New, ikm, salt, "Content-Encoding: aes128gcm\x00", 16)
	if err != nil {
		return nil, err
	}
	nonce, err := hkdf.Key(sha256.New, ikm, salt, "Content-Encoding: nonce\x00", 12)
	if err != nil {
		return nil, err
	}
	block, err := aes.NewCipher(cek)
	if err != nil {
		return nil, err
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		return nil, err
	}
	plain, err := gcm.Open(nil, nonce, body[21+n:], nil)
	if err != nil {
		return nil, err
	}
	plain = bytes.TrimRight(plain, "\x00")
	if len(plain) == 0 || plain[len(plain)-1] != 2 {
		return nil, errors.New("no delimiter of the last record")
	}
	return plain[:len(plain)-1], nil
}

// The worked example of RFC 8291, section 5.
func TestTheTestsOwnDeviceReadsTheExample(t *testing.T) {
	t.Parallel()
	raw := func(s string) []byte {
		b, err := base64.RawURLEncoding.DecodeString(s)
		must(t, err)
		return b
	}
	key, err := ecdh.P256().NewPrivateKey(raw("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"))
	must(t, err)
	got, err := device{key, raw("BTBZMqHH6r4Tts7J_aSIgg")}.open(raw("DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"))
	if err != nil || string(got) != "When I grow up, I want to be a watermelon" {
		t.Fatalf("the example reads %q, %v", got, err)
	}
}

// pushService is a push service as RFC 8030 has them.
type pushService struct {
	*httptest.Server
	mu     sync.Mutex
	got    []*http.Request
	bodies [][]byte
	answer func(n int) int // status of the n-th message
}

func newPushService(t *testing.T) *pushService {
	t.Helper()
	p := &pushService{answer: func(int) int { return http.StatusCreated }}
	p.Server = httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		p.mu.Lock()
		p.got, p.bodies = append(p.got, r), append(p.bodies, body)
		status := p.answer(len(p.got))
		p.mu.Unlock()
		w.WriteHeader(status)
	}))
	t.Cleanup(p.Close)
	return p
}

func (p *pushService) count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.got)
}

// tell writes one note for a person and gives its id.
func (b *bench) tell(person uuid.UUID, n Note) (id uuid.UUID) {
	b.t.Helper()
	ctx := context.Background()
	must(b.t, tenant.Write(ctx, b.db.App, b.firm, func(tx pgx.Tx) error {
		told, err := b.svc.tellPhones(ctx, tx, b.firm, []uuid.UUID{person}, n)
		if err == nil && told != 1 {
			b.t.Errorf("%d people are told, want 1", told)
		}
		return err
	}))
	must(b.t, b.db.Owner.QueryRow(ctx, `SELECT note_id FROM push_note WHERE person_id = $1 AND topic = $2 AND sequence = $3`, person, n.Topic, n.Sequence).Scan(&id))
	return id
}

func (b *bench) says(note uuid.UUID) (says string, done bool) {
	b.t.Helper()
	must(b.t, b.db.Owner.QueryRow(context.Background(), `SELECT says, done_at IS NOT NULL FROM push_note WHERE note_id = $1`, note).Scan(&says, &done))
	return says, done
}

// A phone that asked shows what it is told, encrypted for it alone and signed as
// RFC 8291 and 8292 want it, once, and is told no more when its push service
// does not know it or its person takes it back.
func TestAPhoneThatAskedIsTold(t *testing.T) {
	b := newScene(t)
	ctx := context.Background()
	service := newPushService(t)
	b.svc.pushHTTP = service.Client()
	person, email := b.addPerson(b.firm, "Sorrel Wray", schedule.CrewLead)
	d, second := newDevice(t), newDevice(t)
	who := b.signedIn(email)
	for i, dev := range []device{d, second} {
		who.json("PUT", "/push", nil, map[string]string{"endpoint": service.URL + "/phone/" + string(rune('a'+i)), "p256dh": dev.p256dh(), "auth": dev.secret()}).want(http.StatusNoContent)
	}
	var key struct {
		PublicKey string `json:"public_key"`
	}
	who.json("POST", "/push", nil, nil).want(http.StatusOK).into(&key)
	n := Note{Topic: "turn/alder", Sequence: 14, Title: "Off the roof by 14:00", Body: "Gusts of 13 m/s, limit 10.3 m/s.", Href: "/morning", Until: b.clock().Add(2 * time.Hour)}
	id := b.tell(person, n)
	lost := errors.New("the worker dies")
	b.svc.at = func(point string) {
		if point == "note: sent" {
			panic(lost)
		}
	}
	func() {
		defer func() { _ = recover() }()
		_ = b.svc.workNote(ctx, b.firm, id)
	}()
	b.svc.at = func(string) {}
	must(t, b.svc.workNote(ctx, b.firm, id))
	must(t, b.svc.workNote(ctx, b.firm, id))
	// The one copy too many is the phone's whose worker died after the answer.
	if got := service.count(); got != 3 {
		t.Fatalf("%d messages for two phones and one death, want 3", got)
	}
	if says, done := b.says(id); !done || !strings.Contains(says, "2 phones") {
		t.Errorf("the note says %q, ended %t", says, done)
	}
	topics := map[string]bool{}
	for i, r := range service.got {
		dev := d
		if strings.HasSuffix(r.URL.Path, "b") {
			dev = second
		}
		plain, err := dev.open(service.bodies[i])
		must(t, err)
		var shown struct{ Title, Body, Href, Tag string }
		must(t, json.Unmarshal(plain, &shown))
		if shown.Title != n.Title || shown.Body != n.Body || shown.Href != n.Href || shown.Tag != n.Topic {
			t.Errorf("the phone shows %+v", shown)
		}
		topics[r.Header.Get("Topic")] = true
		if r.Header.Get("Urgency") != "high" || r.Header.Get("TTL") == "" || r.Header.Get("TTL") == "0" || r.Header.Get("Content-Encoding") != "aes128gcm" || len(r.Header.Get("Topic")) > 32 {
			t.Errorf("headers %v", r.Header)
		}
		if !strings.Contains(r.Header.Get("Authorization"), "k="+key.PublicKey) {
			t.Errorf("it is not signed with the key that the browser was given: %s", r.Header.Get("Authorization"))
		}
	}
	if len(topics) != 1 {
		t.Errorf("one topic is sent as %v", topics)
	}
	// The same again is told once.
	must(t, tenant.Write(ctx, b.db.App, b.firm, func(tx pgx.Tx) error {
		told, err := b.svc.tellPhones(ctx, tx, b.firm, []uuid.UUID{person}, n)
		if told != 0 {
			t.Errorf("the same note was written again")
		}
		return err
	}))
	// One phone takes it back, and the other's service no longer knows it.
	who.json("DELETE", "/push?endpoint="+service.URL+"/phone/a", nil, nil).want(http.StatusNoContent)
	service.answer = func(int) int { return http.StatusGone }
	n.Sequence++
	must(t, b.svc.workNote(ctx, b.firm, b.tell(person, n)))
	if got := service.count(); got != 4 {
		t.Errorf("%d messages, want one more for the phone that is left", got)
	}
	must(t, tenant.Write(ctx, b.db.App, b.firm, func(tx pgx.Tx) error {
		n.Sequence++
		told, err := b.svc.tellPhones(ctx, tx, b.firm, []uuid.UUID{person}, n)
		if told != 0 {
			t.Errorf("a phone that is gone is told")
		}
		return err
	}))
}

// A push service that does not answer is tried again until the note is of no
// use, and then the note says so.
func TestANoteThatCannotBeSentIsTriedAgainAndThenSaidToBeLate(t *testing.T) {
	b := newScene(t)
	ctx := context.Background()
	service := newPushService(t)
	service.answer = func(int) int { return http.StatusServiceUnavailable }
	b.svc.pushHTTP = service.Client()
	person, email := b.addPerson(b.firm, "Sorrel Wray", schedule.CrewLead)
	d := newDevice(t)
	b.signedIn(email).json("PUT", "/push", nil, map[string]string{"endpoint": service.URL + "/phone/a", "p256dh": d.p256dh(), "auth": d.secret()}).want(http.StatusNoContent)
	id := b.tell(person, Note{Topic: "stop/1", Title: "Work is stopped", Href: "/morning", Until: b.clock().Add(time.Hour)})
	if err := b.svc.workNote(ctx, b.firm, id); err == nil {
		t.Error("a push service is unavailable, and the note is not tried again")
	}
	if _, done := b.says(id); done {
		t.Error("it was ended all the same")
	}
	b.setClock(b.clock().Add(2 * time.Hour))
	must(t, b.svc.workNote(ctx, b.firm, id))
	if says, done := b.says(id); !done || !strings.Contains(says, "too late for 1 of 1") {
		t.Errorf("it says %q", says)
	}
}

// What a browser gives is looked at, and an endpoint never leads into the house.
func TestAskingToBeToldIsLookedAt(t *testing.T) {
	b := newScene(t)
	ctx := context.Background()
	person, _ := b.addPerson(b.firm, "Sorrel Wray", schedule.CrewLead)
	by := Caller{Firm: b.firm, Person: person, Role: schedule.CrewLead}
	d := newDevice(t)
	for field, c := range map[string][3]string{
		"endpoint": {"http://push.example/1", d.p256dh(), d.secret()},
		"p256dh":   {"https://push.example/1", "AAAA", d.secret()},
		"auth":     {"https://push.example/1", d.p256dh(), "AAAA"},
	} {
		var f *fault.Error
		if err := b.svc.AskPush(ctx, by, c[0], c[1], c[2]); !errors.As(err, &f) || f.Field != field {
			t.Errorf("a bad %s gives %v", field, err)
		}
	}
	service := newPushService(t) // on loopback
	client := pushClient()
	client.Transport.(*http.Transport).TLSClientConfig = service.Client().Transport.(*http.Transport).TLSClientConfig
	for _, inside := range []string{service.URL, "https://localhost:1/", "https://10.0.0.1/", "https://[fd00::1]/", "https://169.254.169.254/"} {
		if res, err := client.Post(inside, "text/plain", nil); err == nil {
			res.Body.Close()
			t.Errorf("%s was reached", inside)
		} else if !strings.Contains(err.Error(), "does not live at") {
			t.Errorf("%s: %v", inside, err)
		}
	}
	if service.count() != 0 {
		t.Error("a message went into the house")
	}
}
