package dashboard

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// certificateLife is how long a certificate of ours holds: browsers of one maker refuse those
// of more than 825 days even where a person trusted them (from memory), and a shoot's machine is seen more often.
const certificateLife = 397 * 24 * time.Hour

// certificateFile holds key and certificate, in PEM, in the data folder.
const certificateFile = "https.pem"

// Certificate is the local certificate of a data folder: the one that is there, or a new one
// where there is none, it runs out within a month, or it lacks one of the names. Nobody vouches for
// it: a browser warns once, and whoever sits there compares the fingerprint.
// Names are host names and addresses. now is the time.
func Certificate(folder string, names []string, now time.Time) (tls.Certificate, error) {
	file := filepath.Join(folder, certificateFile)
	text, err := os.ReadFile(file)
	switch {
	case err == nil:
		if c, err := tls.X509KeyPair(text, text); err == nil && holds(c.Leaf, names, now) {
			return c, nil
		}
	case !errors.Is(err, fs.ErrNotExist):
		return tls.Certificate{}, fmt.Errorf("%s: the certificate for HTTPS can't be read: %w; move the file away and a new one is made", file, err)
	}
	text, err = newCertificate(names, now)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("a certificate for HTTPS can't be made: %w", err)
	}
	if err := os.WriteFile(file, text, 0o600); err != nil {
		return tls.Certificate{}, fmt.Errorf("%s: the certificate for HTTPS can't be kept: %w", file, err)
	}
	return tls.X509KeyPair(text, text)
}

// holds tells whether a certificate can be gone on with.
func holds(c *x509.Certificate, names []string, now time.Time) bool {
	if c == nil || now.Before(c.NotBefore) || now.Add(30*24*time.Hour).After(c.NotAfter) {
		return false
	}
	return !slices.ContainsFunc(names, func(n string) bool { return c.VerifyHostname(n) != nil })
}

func newCertificate(names []string, now time.Time) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return nil, err
	}
	t := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "thirdstop on this machine"},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(certificateLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true,
	}
	for _, n := range names {
		if a, err := netip.ParseAddr(n); err == nil {
			t.IPAddresses = append(t.IPAddresses, net.IP(a.AsSlice()))
		} else {
			t.DNSNames = append(t.DNSNames, strings.ToLower(n))
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return nil, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	return append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}),
		pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})...), nil
}

// Fingerprint is what a browser shows as a certificate's SHA-256 fingerprint, in capitals with colons.
func Fingerprint(c tls.Certificate) string {
	if len(c.Certificate) == 0 {
		return ""
	}
	sum := sha256.Sum256(c.Certificate[0])
	return strings.ReplaceAll(strings.ToUpper(fmt.Sprintf("% x", sum)), " ", ":")
}

// CertificateNames are the names and addresses by which tablets may call a server on an address.
func CertificateNames(addr net.Addr, extra []string) []string {
	names := []string{"localhost", "127.0.0.1", "::1"}
	for _, u := range URLs(addr) {
		if a, ok := hostAddr(strings.TrimPrefix(u, "http://")); ok {
			names = append(names, a.String())
		}
	}
	if name, err := os.Hostname(); err == nil {
		name = strings.TrimSuffix(strings.ToLower(name), ".local")
		names = append(names, name, name+".local")
	}
	names = append(names, extra...)
	slices.Sort(names)
	return slices.Compact(names)
}
