package api

import (
	"context"
	"crypto/ecdh"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"syscall"
	"time"

	"github.com/SherClockHolmes/webpush-go"
	"github.com/google/uuid"

	"toeboard/weather/fault"
)

// Phones that asked are told at once by Web Push: RFC 8030 for the road, RFC
// 8291 for the encryption, RFC 8292 for who sends. Nothing rests on a note: a
// phone may be off, and what it says stands on the page too.

// pushTime is how long one push service may take to answer.
const pushTime = 15 * time.Second

func newPushKey() (private, public string, err error) { return webpush.GenerateVAPIDKeys() }

// pushClient reaches the push services of the world and nothing nearer: an
// endpoint comes from a browser, and must not lead into the firm's own house.
func pushClient() *http.Client {
	d := &net.Dialer{Timeout: pushTime, Control: func(_, address string, _ syscall.RawConn) error {
		host, _, err := net.SplitHostPort(address)
		if err != nil {
			return err
		}
		ip, err := netip.ParseAddr(host)
		if err != nil {
			return err
		}
		if ip = ip.Unmap(); !ip.IsGlobalUnicast() || ip.IsPrivate() {
			return fmt.Errorf("a push service does not live at %s", ip)
		}
		return nil
	}}
	return &http.Client{Timeout: pushTime, Transport: &http.Transport{DialContext: d.DialContext, TLSHandshakeTimeout: pushTime, ForceAttemptHTTP2: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// AskPush keeps that a person's phone asked to be told. endpoint, p256dh and auth
// are those of the browser's PushSubscription.
func (s *Service) AskPush(ctx context.Context, by Caller, endpoint, p256dh, auth string) error {
	u, err := url.Parse(endpoint)
	if err != nil || u.Scheme != "https" || u.Host == "" || u.User != nil || len(endpoint) > 2000 {
		return fault.Bad("endpoint", endpoint, "the https address that the browser's push service gave, of at most 2,000 characters")
	}
	point, err := fromBase64(p256dh)
	if err == nil {
		_, err = ecdh.P256().NewPublicKey(point)
	}
	if err != nil {
		return fault.Bad("p256dh", p256dh, "the subscription's public key: a point of P-256 in base64url")
	}
	if secret, err := fromBase64(auth); err != nil || len(secret) != 16 {
		return fault.Bad("auth", auth, "the subscription's secret: 16 octets in base64url")
	}
	return s.addPhone(ctx, by.Firm, by.Person, phone{ID: s.ids(), Endpoint: endpoint, P256dh: p256dh, Auth: auth})
}

// fromBase64 reads base64url with or without padding, as browsers differ.
func fromBase64(text string) ([]byte, error) {
	return base64.RawURLEncoding.DecodeString(strings.TrimRight(text, "="))
}

// workNote sends one note to the phones it has not reached. An error has it
// tried again later.
func (s *Service) workNote(ctx context.Context, firm, id uuid.UUID) error {
	n, err := s.noteToSend(ctx, firm, id)
	if err != nil || n == nil {
		return err
	}
	if !s.now().Before(n.Until) {
		return s.noteEnded(ctx, firm, id, fmt.Sprintf("It came too late for %d of %d phones.", len(n.phones), len(n.phones)+n.sent))
	}
	private, public, err := s.pushKey(ctx, firm)
	if err != nil {
		return err
	}
	var again error
	for _, p := range n.phones {
		gone, err := s.sendNote(ctx, n.Note, p, private, public)
		switch {
		case err != nil:
			again = err
		case gone != "":
			if err := s.phoneGone(ctx, firm, p.ID, gone); err != nil {
				return err
			}
		default:
			n.sent++
			s.at("note: sent")
			if err := s.noteSent(ctx, firm, id, p.ID); err != nil {
				return err
			}
		}
	}
	if again != nil {
		return again
	}
	return s.noteEnded(ctx, firm, id, fmt.Sprintf("The push services of %s took it.", counted(n.sent, "phone", "phones")))
}

// sendNote gives a note to one phone's push service. gone says why the phone is
// to be told nothing more.
func (s *Service) sendNote(ctx context.Context, n Note, p phone, private, public string) (gone string, err error) {
	body, err := json.Marshal(map[string]string{"title": n.Title, "body": n.Body, "href": n.Href, "tag": n.Topic})
	if err != nil {
		return "", err
	}
	subscriber := s.baseURL
	if !strings.HasPrefix(subscriber, "https://") {
		subscriber = "https://toeboard.invalid" // RFC 8292 wants an https or mailto address of who sends
	}
	res, err := webpush.SendNotificationWithContext(ctx, body, &webpush.Subscription{Endpoint: p.Endpoint, Keys: webpush.Keys{Auth: p.Auth, P256dh: p.P256dh}},
		&webpush.Options{HTTPClient: s.pushHTTP, Subscriber: subscriber, VAPIDPublicKey: public, VAPIDPrivateKey: private,
			Topic: pushTopic(n.Topic), TTL: int(time.Until(s.realTime(n.Until)).Seconds()), Urgency: webpush.UrgencyHigh})
	if err != nil {
		return "", fmt.Errorf("send a note to a push service: %w", err)
	}
	defer res.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, 1<<16))
	switch {
	case res.StatusCode >= 200 && res.StatusCode < 300:
		return "", nil
	case res.StatusCode == http.StatusNotFound, res.StatusCode == http.StatusGone:
		return "its push service no longer knows it", nil
	case res.StatusCode == http.StatusTooManyRequests, res.StatusCode >= 500:
		return "", fmt.Errorf("a push service answered %s", res.Status)
	}
	return "its push service answered " + res.Status, nil
}

// realTime brings a moment of the service's clock, which a demo may set, to the
// clock on the wall.
func (s *Service) realTime(t time.Time) time.Time { return time.Now().Add(t.Sub(s.now())) }

// pushTopic makes a topic fit RFC 8030, 5.4: at most 32 characters of base64url.
func pushTopic(topic string) string {
	sum := sha256.Sum256([]byte(topic))
	return base64.RawURLEncoding.EncodeToString(sum[:24])
}
