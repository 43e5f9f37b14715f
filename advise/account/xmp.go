package account

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"thirdstop/assess/exposure"
)

// XMPNamespace names our own properties in an XMP packet, for which the standard has none. It is a name and
// leads nowhere.
const XMPNamespace = "urn:uuid:0c6f2c1e-6f0e-4f0b-9d5a-8f2f7a4be1c3#"

// XMP is the correction of one frame as an XMP packet (ISO 16684-1: RDF/XML in the packet wrapper, UTF-8). Standard
// properties say what made it, when, and of which file (dc:source its name, dc:identifier the SHA-256 of its bytes); what
// to develop stands in properties of our own, in stops:
//
//	light:ExposureStops       how much lighter, over 0, or darker
//	light:ExposureSigmaStops  one standard deviation of it
//	light:ExposureFrom        what told it
//	light:RedGreenStops       how much more red against green, in linear light
//	light:BlueGreenStops      how much more blue against green
//	light:WhiteFrom           what told them
//	light:NotTold             what could not be told, and why
//	light:Shoot, light:Frame, light:Record, light:RecordSHA256, light:Head    where it is from
func (a *Account) XMP(c Correction, made time.Time) []byte {
	var b bytes.Buffer
	text := func(s string) string {
		var t bytes.Buffer
		xml.EscapeText(&t, []byte(strings.ToValidUTF8(s, "\uFFFD")))
		return t.String()
	}
	put := func(name, value string) {
		if value != "" {
			fmt.Fprintf(&b, "   <%s>%s</%s>\n", name, text(value), name)
		}
	}
	b.WriteString("<?xpacket begin=\"\uFEFF\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n" +
		"<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n" +
		"  <rdf:Description rdf:about=\"\" xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:light=\"" + XMPNamespace + "\">\n")
	put("xmp:CreatorTool", "thirdstop "+a.Header.Program)
	put("xmp:MetadataDate", made.UTC().Format(time.RFC3339))
	if c.File != "" {
		put("dc:source", path.Base(c.File))
	}
	if c.Content != "" {
		put("dc:identifier", "sha256:"+c.Content)
	}
	if e := c.Exposure; e != nil {
		put("light:ExposureStops", decimals(e.Value))
		put("light:ExposureSigmaStops", decimals(e.Sigma))
		put("light:ExposureFrom", c.From)
	}
	if w := c.White; w != nil {
		put("light:RedGreenStops", decimals(w.Red))
		put("light:BlueGreenStops", decimals(w.Blue))
		put("light:WhiteFrom", c.WhiteFrom)
	}
	put("light:NotTold", c.Why)
	put("light:Shoot", a.ID)
	put("light:Frame", strconv.Itoa(c.Number))
	put("light:Record", strconv.FormatUint(c.Record, 10))
	put("light:RecordSHA256", c.Hash)
	put("light:Head", a.Head.String())
	b.WriteString("  </rdf:Description>\n </rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"w\"?>\n")
	return b.Bytes()
}

func decimals(v exposure.Stops) string { return strconv.FormatFloat(float64(v.Round()), 'f', 3, 64) }

// XMPName is the path of a correction's packet under the folder of all: that of the frame's file with another
// ending, or the frame's number where the name was erased or can't be a path here.
func (c Correction) XMPName() string {
	stem := strings.TrimSuffix(c.File, path.Ext(c.File))
	if local := filepath.FromSlash(stem + ".xmp"); stem != "" && path.Base(stem) != "." && filepath.IsLocal(local) && !strings.ContainsAny(stem, "\x00\\:") {
		return local
	}
	return fmt.Sprintf("frame-%07d.xmp", c.Number)
}
