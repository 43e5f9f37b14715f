package colour

// Columns and rows of the chart, and its patches. Patches are counted row by row from dark skin
// at the top left to black at the bottom right, as the makers print it (McCamy, Marcus & Davidson 1976,
// J. Appl. Photogr. Eng. 2(3), 95-99).
const (
	ChartCols    = 6
	ChartRows    = 4
	ChartPatches = ChartCols * ChartRows
	FirstNeutral = 18 // the last row runs from white to black
)

// Edition is which printing of the chart: the formulation changed in November 2014, and with
// it the colours, by up to 1.95 of CIEDE2000 (white). Charts carry the date of printing.
type Edition int

// The editions.
const (
	After2014  Edition = iota // printed in or after November 2014
	Before2014                // printed before November 2014
)

// String names the edition.
func (e Edition) String() string {
	if e == Before2014 {
		return "before November 2014"
	}
	return "November 2014 and later"
}

// MarshalText gives the edition its word in JSON.
func (e Edition) MarshalText() ([]byte, error) {
	if e == Before2014 {
		return []byte("before_2014"), nil
	}
	return []byte("after_2014"), nil
}

// Patch is one of the 24 patches as published.
type Patch struct {
	Name string
	Lab  [2]Lab // by edition, under D50, 2 degree observer
}

// Reference is the colour of the patch in an edition, under D50.
func (p *Patch) Reference(e Edition) Lab { return p.Lab[e&1] }

// Patches are the published colours: the maker's CIELAB values for D50, as the library colour-science
// (commit 9d743142) has them in its data set of chromaticity coordinates. The list of sRGB
// codes that is widely printed for this chart (115, 82, 68 ...) is not what these give and is
// nowhere used: orange's red is 214 there and 224 from the colours.
var Patches = [ChartPatches]Patch{
	{"dark skin", [2]Lab{After2014: {37.54, 14.37, 14.92}, Before2014: {37.986, 13.555, 14.059}}},
	{"light skin", [2]Lab{After2014: {64.66, 19.27, 17.5}, Before2014: {65.711, 18.13, 17.81}}},
	{"blue sky", [2]Lab{After2014: {49.32, -3.82, -22.54}, Before2014: {49.927, -4.88, -21.905}}},
	{"foliage", [2]Lab{After2014: {43.46, -12.74, 22.72}, Before2014: {43.139, -13.095, 21.905}}},
	{"blue flower", [2]Lab{After2014: {54.94, 9.61, -24.79}, Before2014: {55.112, 8.844, -25.399}}},
	{"bluish green", [2]Lab{After2014: {70.48, -32.26, -0.37}, Before2014: {70.719, -33.397, -0.199}}},
	{"orange", [2]Lab{After2014: {62.73, 35.83, 56.5}, Before2014: {62.661, 36.067, 57.096}}},
	{"purplish blue", [2]Lab{After2014: {39.43, 10.75, -45.17}, Before2014: {40.02, 10.41, -45.964}}},
	{"moderate red", [2]Lab{After2014: {50.57, 48.64, 16.67}, Before2014: {51.124, 48.239, 16.248}}},
	{"purple", [2]Lab{After2014: {30.1, 22.54, -20.87}, Before2014: {30.325, 22.976, -21.587}}},
	{"yellow green", [2]Lab{After2014: {71.77, -24.13, 58.19}, Before2014: {72.532, -23.709, 57.255}}},
	{"orange yellow", [2]Lab{After2014: {71.51, 18.24, 67.37}, Before2014: {71.941, 19.363, 67.857}}},
	{"blue", [2]Lab{After2014: {28.37, 15.42, -49.8}, Before2014: {28.778, 14.179, -50.297}}},
	{"green", [2]Lab{After2014: {54.38, -39.72, 32.27}, Before2014: {55.261, -38.342, 31.37}}},
	{"red", [2]Lab{After2014: {42.43, 51.05, 28.62}, Before2014: {42.101, 53.378, 28.19}}},
	{"yellow", [2]Lab{After2014: {81.8, 2.67, 80.41}, Before2014: {81.733, 4.039, 79.819}}},
	{"magenta", [2]Lab{After2014: {50.63, 51.28, -14.12}, Before2014: {51.935, 49.986, -14.574}}},
	{"cyan", [2]Lab{After2014: {49.57, -29.71, -28.32}, Before2014: {51.038, -28.631, -28.638}}},
	{"white 9.5", [2]Lab{After2014: {95.19, -1.03, 2.93}, Before2014: {96.539, -0.425, 1.186}}},
	{"neutral 8", [2]Lab{After2014: {81.29, -0.57, 0.44}, Before2014: {81.257, -0.638, -0.335}}},
	{"neutral 6.5", [2]Lab{After2014: {66.89, -0.75, -0.06}, Before2014: {66.766, -0.734, -0.504}}},
	{"neutral 5", [2]Lab{After2014: {50.76, -0.13, 0.14}, Before2014: {50.867, -0.153, -0.27}}},
	{"neutral 3.5", [2]Lab{After2014: {35.63, -0.46, -0.48}, Before2014: {35.656, -0.421, -1.231}}},
	{"black 2", [2]Lab{After2014: {20.64, 0.07, -0.46}, Before2014: {20.461, -0.079, -0.973}}},
}

// XYZ of a patch under D65, carried over by Bradford: what a camera balanced for the light shows.
func (p *Patch) d65(e Edition) XYZ { return d50ToD65.Of(p.Reference(e).XYZ(D50)) }
