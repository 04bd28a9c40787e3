package web

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"fmt"
	"math/big"
	"net"
	"strings"
	"time"
)

// SelfSigned makes a certificate for these addresses and localhost, and its
// SHA-256 fingerprint as browsers show it. It and its key live in memory alone.
func SelfSigned(ips []net.IP) (tls.Certificate, string, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, "", fmt.Errorf("making a key: %w", err)
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return tls.Certificate{}, "", fmt.Errorf("making a certificate: %w", err)
	}
	now := time.Now()
	t := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "dentcount on this network"},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(30 * 24 * time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true, DNSNames: []string{"localhost"}, IPAddresses: ips,
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, key.Public(), key)
	if err != nil {
		return tls.Certificate{}, "", fmt.Errorf("making a certificate: %w", err)
	}
	var parts []string
	for _, b := range sha256.Sum256(der) {
		parts = append(parts, fmt.Sprintf("%02X", b))
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, strings.Join(parts, ":"), nil
}
