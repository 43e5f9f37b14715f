package rig

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// Fit is the model's best account of everything seen: the coefficients that are
// most probable given the priors and the frames, and how sure each is.
type Fit struct {
	spec Spec
	x    []float64 // log2 of each coefficient, by Spec.index
	cov  []float64 // their covariance, row by row
}

// Level is a predicted exposure of one region, relative to the edge of clipping.
type Level struct {
	Value exposure.Stops
	Sigma exposure.Stops // one standard deviation, from what is not known of the coefficients
}

// Clipped frames tell that a region is over the edge, hardly by how much. Each is
// a bound, and the newest of a region carries a loose belief about what lies beyond it as well:
// lights that are too strong are about a stop too strong (common practice, no source).
// Once it was turned down and still clips, the belief starts from there. One unclipped frame outweighs it a hundredfold.
const (
	beyondMean  = 1.0
	beyondSigma = 1.0
)

// Fit finds the coefficients by Gauss-Newton steps with Levenberg-Marquardt
// damping on the sum of squared residuals over their sigmas (maximum a posteriori under
// Gaussian priors). It always ends: after at most 60 steps.
func (m Model) Fit() Fit {
	f, _ := m.fit()
	return f
}

// Surprise is how badly a further frame fits what is known: twice the cost that
// it adds to the best fit, plus the log of how loosely the model had predicted it,
// so that of two settings that could explain a frame the one that
// foretold it wins (Laplace's approximation of the evidence; from memory). Only differences mean anything.
func (m Model) Surprise(o Observation) float64 {
	before, cost := m.fit()
	with := Model{Spec: m.Spec, Seen: append(slices.Clone(m.Seen), o)} // on purpose not merged with a frame of the same setting
	_, after := with.fit()
	sum := 2 * (after - cost)
	for r, p := range before.Predict(o.Setting) {
		if y := o.Levels[r]; y.OK && !y.AtLeast {
			sum += math.Log1p(float64(p.Sigma*p.Sigma) / float64(y.Sigma*y.Sigma+scatterSigma*scatterSigma))
		}
	}
	return math.Round(sum*1000) / 1000
}

// fit also returns half the sum of squares that is left.
func (m Model) fit() (Fit, float64) {
	n := m.Spec.params()
	f := Fit{spec: m.Spec, x: m.start()}
	h, g := make([]float64, n*n), make([]float64, n)
	cost := m.normal(f.x, h, g)
	damping := 1e-3
	for range 60 {
		step, ok := solveSymmetric(damp(h, n, damping), g, n)
		if !ok {
			damping *= 10
			continue
		}
		trial := slices.Clone(f.x)
		for i := range trial {
			trial[i] -= max(-4, min(4, step[i])) // no leap over more than 4 stops
		}
		ht, gt := make([]float64, n*n), make([]float64, n)
		if c := m.normal(trial, ht, gt); c <= cost {
			done := cost-c <= 1e-10*(1+cost)
			f.x, h, g, cost = trial, ht, gt, c
			damping = max(damping/8, 1e-9)
			if done {
				break
			}
		} else {
			damping *= 6
			if damping > 1e9 {
				break
			}
		}
	}
	f.cov = invertSymmetric(h, n)
	return f, cost
}

// start puts every coefficient where the priors alone would have it: first
// those with a prior of their own, then those known against another.
func (m Model) start() []float64 {
	x := make([]float64, m.Spec.params())
	if j := m.Spec.Joint; j != nil {
		copy(x, j.mean)
	}
	for range 2 {
		for _, p := range m.Spec.Priors {
			if p.Than == nil {
				x[m.Spec.index(p.Of)] = float64(p.Mean)
			} else {
				x[m.Spec.index(p.Of)] = x[m.Spec.index(*p.Than)] + float64(p.Mean)
			}
		}
	}
	return x
}

// normal fills the normal matrix and gradient at x, and returns half the cost.
func (m Model) normal(x, h, g []float64) float64 {
	n := len(x)
	var cost float64
	add := func(residual float64, at []int, by []float64) { // both already divided by sigma
		cost += residual * residual / 2
		for i, a := range at {
			g[a] += by[i] * residual
			for j, b := range at {
				h[a*n+b] += by[i] * by[j]
			}
		}
	}
	if j := m.Spec.Joint; j != nil {
		for a := range x {
			var sum float64
			for b := range x {
				sum += float64(j.weight[a*n+b] * (x[b] - j.mean[b]))
				h[a*n+b] += j.weight[a*n+b]
			}
			g[a] += sum
			cost += sum * (x[a] - j.mean[a]) / 2
		}
	}
	for _, p := range m.Spec.Priors {
		a, s := m.Spec.index(p.Of), float64(p.Sigma)
		if p.Than == nil {
			add((x[a]-float64(p.Mean))/s, []int{a}, []float64{1 / s})
			continue
		}
		b := m.Spec.index(*p.Than)
		add((x[a]-x[b]-float64(p.Mean))/s, []int{a, b}, []float64{1 / s, -1 / s})
	}
	at, share := make([]int, m.Spec.Lights+1), make([]float64, m.Spec.Lights+1)
	by := make([]float64, m.Spec.Lights+1)
	for k, o := range m.Seen {
		age := float64(ageing) * float64(len(m.Seen)-1-k)
		for r, level := range o.Levels {
			if !level.OK {
				continue
			}
			y := m.Spec.level(x, o.Setting, r, at, share)
			s := math.Sqrt(float64(level.Sigma*level.Sigma) + float64(scatterSigma*scatterSigma)/float64(max(o.Count, 1)) + age*age)
			scaled := func(s float64) []float64 {
				for i := range share {
					by[i] = share[i] / s
				}
				return by
			}
			if !level.AtLeast {
				add((y-float64(level.Value))/s, at, scaled(s))
				continue
			}
			if y < float64(level.Value) {
				add((y-float64(level.Value))/s, at, scaled(s))
			}
			if k == m.newestClipped(r) {
				add((y-float64(level.Value)-beyondMean)/beyondSigma, at, scaled(beyondSigma))
			}
		}
	}
	return cost
}

// newestClipped is the newest observation in which a region clipped, -1 for none.
func (m Model) newestClipped(region int) int {
	for k := len(m.Seen) - 1; k >= 0; k-- {
		if l := m.Seen[k].Levels[region]; l.OK && l.AtLeast {
			return k
		}
	}
	return -1
}

// level is the model's exposure of a region in stops; at and share receive the
// index and the share of the region's light of every light and of the ambient
// light, which are also the derivatives of the level by their coefficients.
func (s Spec) level(x []float64, set Setting, r int, at []int, share []float64) float64 {
	var sum float64
	for l := range s.Lights + 1 {
		i := l*s.Regions + r
		at[l] = i
		if l == s.Lights {
			share[l] = math.Exp2(x[i]) * float64(set.Shutter)
		} else if power, on := s.power(set, l); on {
			share[l] = math.Exp2(x[i] + float64(power))
		} else {
			share[l] = 0
		}
		sum += share[l]
	}
	if sum <= 0 {
		sum = math.SmallestNonzeroFloat64
	}
	for l := range share {
		share[l] /= sum
	}
	return float64(set.Gain) + math.Log2(sum)
}

// power is what a source gives against its coefficients, and whether it gives anything.
func (s Spec) power(set Setting, light int) (exposure.Stops, bool) {
	if f := s.of(light); f >= 0 {
		return set.Power[light] + set.Power[f], !set.Off[light] && !set.Off[f]
	}
	return set.Power[light], !set.Off[light]
}

// Predict is what every region would show under a setting.
func (f Fit) Predict(set Setting) []Level {
	out := make([]Level, f.spec.Regions)
	at, share := make([]int, f.spec.Lights+1), make([]float64, f.spec.Lights+1)
	n := f.spec.params()
	for r := range out {
		y := f.spec.level(f.x, set, r, at, share)
		var v float64
		for i, a := range at {
			for j, b := range at {
				v += share[i] * share[j] * f.cov[a*n+b]
			}
		}
		out[r] = Level{Value: exposure.Stops(y), Sigma: exposure.Stops(math.Sqrt(max(v, 0)))}
	}
	return out
}

// Shares says which part of a region's light comes from each light under a
// setting; the last is the ambient light. They add up to 1.
func (f Fit) Shares(set Setting, region int) []float64 {
	at, share := make([]int, f.spec.Lights+1), make([]float64, f.spec.Lights+1)
	f.spec.level(f.x, set, region, at, share)
	return share
}
