// The shell step of diewright/mechanics/shell written by hand in C++, for comparison in speed and answer: element by element, and in lanes (64 elements
// through geometry, material a station at a time, forces; every inner loop vector code; lanes beyond yield packed and returned with a mask).
// Hill 1948 + Swift, no back stress, no pressure, no mirrors. Reads the arrays that benchmarks/shell.py writes, runs, writes x back.
// g++ -O3 -march=native -ffp-contract=fast -fopenmp -std=c++20 shell_reference.cpp -o shell_reference
#include <bit>
#include <chrono>
#include <cstdint>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <string>
#include <vector>
#include <omp.h>

template <class T> std::vector<T> load(const std::string& path) {
    FILE* f = fopen(path.c_str(), "rb");
    if (!f) { fprintf(stderr, "cannot read %s\n", path.c_str()); exit(1); }
    fseek(f, 0, SEEK_END); long n = ftell(f); rewind(f);
    std::vector<T> v(n / sizeof(T));
    if (fread(v.data(), sizeof(T), v.size(), f) != v.size()) exit(1);
    fclose(f);
    return v;
}

template <class R> struct V3 { R x, y, z; };
template <class R> inline V3<R> operator-(V3<R> a, V3<R> b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
template <class R> inline V3<R> mix(R p, V3<R> a, R q, V3<R> b) { return {p * a.x + q * b.x, p * a.y + q * b.y, p * a.z + q * b.z}; }
template <class R> inline R dot(V3<R> a, V3<R> b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
template <class R> inline V3<R> cross(V3<R> a, V3<R> b) { return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x}; }

template <class R> struct Law { R E, nu, p11, p12, p22, p33, K, e0, n, first, tol; };

template <class R> inline void flow(R ep, const Law<R>& m, R& v, R& s) {
    R b = m.e0 + ep; v = m.K * std::pow(b, m.n); s = v * m.n / b;
}

// state: ep11 ep22 gp12 ep; gives T, moves the state on
template <class R> inline void give_back(R e11, R e22, R g12, R ep, const Law<R>& m, R& t11, R& t22, R& t12, R& d11, R& d22, R& d12, R& dl) {
    const R one = 1;
    R k = m.E / (one - m.nu * m.nu);
    t11 = k * (e11 + m.nu * e22); t22 = k * (e22 + m.nu * e11); t12 = R(0.5) * m.E / (one + m.nu) * g12;
    d11 = d22 = d12 = dl = 0;
    R s2 = t11 * (m.p11 * t11 + 2 * m.p12 * t22) + m.p22 * t22 * t22 + m.p33 * t12 * t12;
    if (s2 <= m.first * m.first) return;
    R s = std::sqrt(s2), sy, slope;
    flow(ep, m, sy, slope);
    if (s <= sy) return;
    R ce = one / m.E, cs = 2 * (one + m.nu) * ce, low = 0, high = -1, g = 0, x1, x2, x3, y1, y2, y3;
    bool last = false;
    for (int it = 0; it < 60; ++it) {
        g = dl / sy;
        R m11 = ce + g * m.p11, m22 = ce + g * m.p22, m12 = g * m.p12 - m.nu * ce, i33 = one / (cs + g * m.p33);
        R idet = one / (m11 * m22 - m12 * m12);
        x1 = (m22 * e11 - m12 * e22) * idet; x2 = (m11 * e22 - m12 * e11) * idet; x3 = g12 * i33;
        y1 = m.p11 * x1 + m.p12 * x2; y2 = m.p12 * x1 + m.p22 * x2; y3 = m.p33 * x3;
        if (last) break;
        s = std::sqrt(x1 * y1 + x2 * y2 + x3 * y3);
        R res = sy / s - one;
        if (std::fabs(res) <= m.tol) break;
        if (res < 0) low = dl; else high = dl;
        R dg = (one - g * slope) / sy, c1 = -dg * y1, c2 = -dg * y2, c3 = -dg * y3;
        R ds = (y1 * (m22 * c1 - m12 * c2) * idet + y2 * (m11 * c2 - m12 * c1) * idet + y3 * c3 * i33) / s;
        R change = -res * s / (slope - sy * ds / s), next = dl + change;
        bool inside = next > low && (high < 0 || next < high);
        if (!inside) next = high > 0 ? R(0.5) * (low + high) : 2 * low + R(1e-6);
        if (next == dl) break;
        dl = next;
        if (inside && res * res <= R(0.1) * m.tol) { sy += slope * change; last = true; } else flow(ep + dl, m, sy, slope);
    }
    t11 = x1; t22 = x2; t12 = x3; d11 = g * y1; d22 = g * y2; d12 = g * y3;
}

template <class R> struct Sheet {
    int n, ne, ns, sides;
    std::vector<double> x;
    std::vector<int> conn, start, slots, side_slots, bc;
    std::vector<R> coef, state, stretch, st, force, v, slope, slope_v, mass, inertia, scale;
    Law<R> law;
};

template <class R> struct Pair { V3<R> s, t; };
template <class R> inline __attribute__((always_inline)) Pair<R> side(V3<R> f, V3<R> g, V3<R> n, R la, R lb, R t11, R t22, R t12, R b11, R b22, R b12) {
    R bf = b11 * la + b12 * lb, bg = b12 * la + b22 * lb;
    V3<R> s = mix(t11, f, t12, g), t = mix(t12, f, t22, g);
    return {{s.x + bf * n.x, s.y + bf * n.y, s.z + bf * n.z}, {t.x + bg * n.x, t.y + bg * n.y, t.z + bg * n.z}};
}

template <class R> inline bool element(Sheet<R>& S, int e) {
    const int* c = &S.conn[9 * e];
    const R* k = &S.coef[24 * e];
    const double* x = S.x.data();
    auto edge = [&](int i, int j) { return V3<R>{R(x[3 * j] - x[3 * i]), R(x[3 * j + 1] - x[3 * i + 1]), R(x[3 * j + 2] - x[3 * i + 2])}; };
    V3<R> p1 = edge(c[0], c[1]), p2 = edge(c[0], c[2]), p3 = edge(c[0], c[3]), p4 = edge(c[0], c[4]), p5 = edge(c[0], c[5]);
    V3<R> d0 = p3, h0 = p1 - p2, d1 = p4 - p1, h1 = p2, d2 = p5 - p2, h2 = {-p1.x, -p1.y, -p1.z};
    V3<R> f0 = mix(k[0], d0, k[1], h0), g0 = mix(k[2], d0, k[3], h0), f1 = mix(k[4], d1, k[5], h1), g1 = mix(k[6], d1, k[7], h1);
    V3<R> f2 = mix(k[8], d2, k[9], h2), g2 = mix(k[10], d2, k[11], h2);
    V3<R> u = mix(k[12], p1, k[13], p2), v = mix(k[14], p1, k[15], p2), n = cross(u, v);
    R J = std::sqrt(dot(n, n)); n = {n.x / J, n.y / J, n.z / J};
    R a1 = k[12], a2 = k[13], b1 = k[14], b2 = k[15], a0 = -a1 - a2, b0 = -b1 - b2;
    V3<R> f10 = f1 - f0, f20 = f2 - f0, g10 = g1 - g0, g20 = g2 - g0;
    V3<R> v11 = mix(2 * a1, f10, 2 * a2, f20), v22 = mix(2 * b1, g10, 2 * b2, g20), mm = mix(a1, g10, a2, g20), ww = mix(b1, f10, b2, f20);
    V3<R> v12 = {mm.x + ww.x, mm.y + ww.y, mm.z + ww.z};
    const R third = R(1.0 / 3.0);
    R c11 = third * (dot(f0, f0) + dot(f1, f1) + dot(f2, f2)), c22 = third * (dot(g0, g0) + dot(g1, g1) + dot(g2, g2));
    R c12 = third * (dot(f0, g0) + dot(f1, g1) + dot(f2, g2));
    R k11 = dot(v11, n) - k[18], k22 = dot(v22, n) - k[19], k12 = dot(v12, n) - k[20];
    R q0 = k[21] * S.slope[c[6]], q1 = k[22] * S.slope[c[7]], q2 = k[23] * S.slope[c[8]];
    k11 += q0 * a0 * a0 + q1 * a1 * a1 + q2 * a2 * a2; k22 += q0 * b0 * b0 + q1 * b1 * b1 + q2 * b2 * b2; k12 += q0 * a0 * b0 + q1 * a1 * b1 + q2 * a2 * b2;
    R id = 1 / (c11 * c22 - c12 * c12);
    R g11 = (c22 * k11 - c12 * k12) * id, g12 = (c22 * k12 - c12 * k22) * id, g21 = (c11 * k12 - c12 * k11) * id, g22 = (c11 * k22 - c12 * k12) * id;
    R Q11 = k11 * g11 + k12 * g21, Q22 = k12 * g12 + k22 * g22, Q12 = k11 * g12 + k12 * g22;
    R t0 = k[17], h = t0 * S.stretch[e];
    R n11 = 0, n22 = 0, n12 = 0, m11 = 0, m22 = 0, m12 = 0, o11 = 0, o22 = 0, o12 = 0, thin = 0;
    bool fine = J > R(0.1) && J < R(20);
    const Law<R>& L = S.law;
    for (int s = 0; s < S.ns; ++s) {
        R z = h * S.st[2 * s], w = S.st[2 * s + 1], z2 = z * z;
        R C11 = c11 + 2 * z * k11 + z2 * Q11, C22 = c22 + 2 * z * k22 + z2 * Q22, C12 = c12 + 2 * z * k12 + z2 * Q12;
        R m = R(0.5) * (C11 + C22), q = R(0.5) * (C11 - C22), dd = q * q + C12 * C12, det = m * m - dd, im = 1 / m, y = dd * im * im, beta, gamma;
        if (!(det > 0 && m > 0)) { fine = false; continue; }
        if (y < R(0.02)) {
            beta = im * (1 + y * (R(1.0 / 3) + y * (R(0.2) + y * (R(1.0 / 7) + y * (R(1.0 / 9) + y * (R(1.0 / 11) + y * (R(1.0 / 13) + y * R(1.0 / 15))))))));
            gamma = im * im * im * (R(2.0 / 3) + y * (R(0.8) + y * (R(6.0 / 7) + y * (R(8.0 / 9) + y * (R(10.0 / 11) + y * (R(12.0 / 13) + y * (R(14.0 / 15) + y * R(16.0 / 17))))))));
        } else {
            R d = std::sqrt(dd);
            beta = R(0.5) * std::log((m + d) / (m - d)) / d; gamma = (m / det - beta) / dd;
        }
        R em = R(0.25) * std::log(det), e1 = R(0.5) * beta * q;
        R* a = &S.state[(e * S.ns + s) * 4];
        R t11, t22, t12, x11, x22, x12, dl;
        give_back<R>(em + e1 - a[0], em - e1 - a[1], beta * C12 - a[2], a[3], L, t11, t22, t12, x11, x22, x12, dl);
        if (dl > 0) { a[0] += x11; a[1] += x22; a[2] += x12; a[3] += dl; }
        R r1 = t11 - t22, r2 = 2 * t12, ts = t11 + t22, tq = r1 * q + r2 * C12, idet = 1 / det;
        R sm = R(0.5) * (ts * m - tq) * idet, kk = gamma * tq - ts * idet, s1 = R(0.5) * (beta * r1 + kk * q), s12 = R(0.5) * (beta * r2 + kk * C12);
        R s11 = sm + s1, s22 = sm - s1;
        if (!(std::fabs(s11) + std::fabs(s22) + std::fabs(s12) < R(1e30))) fine = false;
        n11 += w * s11; n22 += w * s22; n12 += w * s12;
        m11 += w * z * s11; m22 += w * z * s22; m12 += w * z * s12;
        o11 += w * z2 * s11; o22 += w * z2 * s22; o12 += w * z2 * s12;
        thin += w * (-L.nu / L.E * ts - a[0] - a[1]);
    }
    S.stretch[e] = std::exp(thin);
    R r11 = g11 * o11 + g12 * o12, r12 = g11 * o12 + g12 * o22, r21 = g21 * o11 + g22 * o12, r22 = g21 * o12 + g22 * o22;
    n11 -= r11 * g11 + r12 * g12; n22 -= r21 * g21 + r22 * g22; n12 -= r11 * g21 + r12 * g22;
    m11 += r11; m22 += r22; m12 += R(0.5) * (r12 + r21);
    R vol = k[16] * t0, T11 = third * vol * n11, T22 = third * vol * n22, T12 = third * vol * n12, B11 = 2 * vol * m11, B22 = 2 * vol * m22, B12 = 2 * vol * m12;
    V3<R> uc = cross(v, n), vc = cross(n, u), big = mix(m11, v11, m22, v22);
    big = mix(R(1), big, 2 * m12, v12);
    R ru = vol * dot(big, uc) / J, rv = vol * dot(big, vc) / J;
    auto [s0, t0v] = side(f0, g0, n, a0, b0, T11, T22, T12, B11, B22, B12);
    auto [s1, t1] = side(f1, g1, n, a1, b1, T11, T22, T12, B11, B22, B12);
    auto [s2, t2] = side(f2, g2, n, a2, b2, T11, T22, T12, B11, B22, B12);
    R* F = &S.force[21 * e];
    F[18] = R(0.5) * k[21] * (B11 * a0 * a0 + B22 * b0 * b0 + 2 * B12 * a0 * b0);
    F[19] = R(0.5) * k[22] * (B11 * a1 * a1 + B22 * b1 * b1 + 2 * B12 * a1 * b1);
    F[20] = R(0.5) * k[23] * (B11 * a2 * a2 + B22 * b2 * b2 + 2 * B12 * a2 * b2);
    V3<R> P0 = mix(k[0], s0, k[2], t0v), Y0 = mix(k[1], s0, k[3], t0v), P1 = mix(k[4], s1, k[6], t1), Y1 = mix(k[5], s1, k[7], t1);
    V3<R> P2 = mix(k[8], s2, k[10], t2), Y2 = mix(k[9], s2, k[11], t2);
    R w0 = ru * a0 + rv * b0, w1 = ru * a1 + rv * b1, w2 = ru * a2 + rv * b2;
    F[0] = -P0.x - Y1.x + Y2.x - w0 * n.x; F[1] = -P0.y - Y1.y + Y2.y - w0 * n.y; F[2] = -P0.z - Y1.z + Y2.z - w0 * n.z;
    F[3] = Y0.x - P1.x - Y2.x - w1 * n.x; F[4] = Y0.y - P1.y - Y2.y - w1 * n.y; F[5] = Y0.z - P1.z - Y2.z - w1 * n.z;
    F[6] = -Y0.x + Y1.x - P2.x - w2 * n.x; F[7] = -Y0.y + Y1.y - P2.y - w2 * n.y; F[8] = -Y0.z + Y1.z - P2.z - w2 * n.z;
    F[9] = P0.x; F[10] = P0.y; F[11] = P0.z; F[12] = P1.x; F[13] = P1.y; F[14] = P1.z; F[15] = P2.x; F[16] = P2.y; F[17] = P2.z;
    return fine;
}

// Logarithm and exponential that go in lanes (normal numbers above zero; ends held).
inline double ln(double x) {
    int64_t i = std::bit_cast<int64_t>(x), k = (i - 0x3FE6A09E00000000) >> 52;
    double m = std::bit_cast<double>(i - (k << 52)), kd = double(k), f = m - 1, s = f / (2 + f), z = s * s, h = 0.5 * f * f;
    double t = z * (0.6666666666666735 + z * (0.3999999999940942 + z * (0.2857142874366239 + z * (0.22222198432149784 + z * (0.1818357216161805 + z * (0.15313837699209373 + z * 0.14798198605116586))))));
    return kd * 0.6931471803691238 - ((h - (s * (h + t) + kd * 1.9082149292705877e-10)) - f);
}
inline float ln(float x) {
    int32_t i = std::bit_cast<int32_t>(x), k = (i - 0x3F3504F3) >> 23;
    float m = std::bit_cast<float>(i - (k << 23)), kd = float(k), f = m - 1, s = f / (2 + f), z = s * s, h = 0.5f * f * f;
    float t = z * (0.66666662693f + z * (0.40000972152f + z * (0.28498786688f + z * 0.24279078841f)));
    return kd * 0.693138122558594f - ((h - (s * (h + t) + kd * 9.05800061445916e-06f)) - f);
}
inline double ex(double x) {
    x = x < -708 ? -708 : x; x = x > 709 ? 709 : x;
    double kk = x * 1.4426950408889634 + 6755399441055744.0, k = kk - 6755399441055744.0, f = (x - k * 0.6931471803691238) - k * 1.9082149292705877e-10;
    double p = 1.0 / 479001600 + f * (1.0 / 6227020800);
    p = 1.0 / 3628800 + f * (1.0 / 39916800 + f * p); p = 1.0 / 40320 + f * (1.0 / 362880 + f * p); p = 1.0 / 720 + f * (1.0 / 5040 + f * p);
    p = 1.0 / 24 + f * (1.0 / 120 + f * p); p = 1 + f * (1 + f * (0.5 + f * (1.0 / 6 + f * p)));
    return std::bit_cast<double>(std::bit_cast<int64_t>(p) + (std::bit_cast<int64_t>(kk) << 52));
}
inline float ex(float x) {
    x = x < -87 ? -87 : x; x = x > 88 ? 88 : x;
    float kk = x * 1.44269504f + 12582912.0f, k = kk - 12582912.0f, f = (x - k * 0.693359375f) + k * 2.12194440e-4f;
    float p = 1.0f / 120 + f * (1.0f / 720 + f * (1.0f / 5040));
    p = 1 + f * (1 + f * (0.5f + f * (1.0f / 6 + f * (1.0f / 24 + f * p))));
    return std::bit_cast<float>(std::bit_cast<int32_t>(p) + (std::bit_cast<int32_t>(kk) << 23));
}

constexpr int LANES = 64;
template <class R> using Row = R[LANES];
template <class R> struct alignas(64) Lanes {
    Row<R> p[15], k[24], q[3], h, size, c[3], kk[3], w[3], g[4], n[3], m[3], o[3], thin, F[21];
    Row<R> mean, dev, d2, det, beta, gamma, sh, e[3], t[3], ps[3], s2;
    Row<R> b[3], ep, dl, low, high, sy, slope, y[3], u[3];
    int who[LANES];
    Row<R> done;
};

template <class R> struct Gradients { V3<R> f0, g0, f1, g1, f2, g2, u, v, n, v11, v22, v12; R J, a0, a1, a2, b0, b1, b2; };
template <class R> inline __attribute__((always_inline)) Gradients<R> gradients(const Lanes<R>& L, int i) {
    Gradients<R> G;
    auto at = [&](int a) { return V3<R>{L.p[3 * a][i], L.p[3 * a + 1][i], L.p[3 * a + 2][i]}; };
    V3<R> p1 = at(0), p2 = at(1), p3 = at(2), p4 = at(3), p5 = at(4);
    V3<R> h0 = p1 - p2, d1 = p4 - p1, d2 = p5 - p2, h2 = {-p1.x, -p1.y, -p1.z};
    auto k = [&](int j) { return L.k[j][i]; };
    G.f0 = mix(k(0), p3, k(1), h0); G.g0 = mix(k(2), p3, k(3), h0); G.f1 = mix(k(4), d1, k(5), p2); G.g1 = mix(k(6), d1, k(7), p2);
    G.f2 = mix(k(8), d2, k(9), h2); G.g2 = mix(k(10), d2, k(11), h2);
    G.a1 = k(12); G.a2 = k(13); G.b1 = k(14); G.b2 = k(15); G.a0 = -G.a1 - G.a2; G.b0 = -G.b1 - G.b2;
    G.u = mix(G.a1, p1, G.a2, p2); G.v = mix(G.b1, p1, G.b2, p2); V3<R> n = cross(G.u, G.v);
    G.J = std::sqrt(dot(n, n)); G.n = {n.x / G.J, n.y / G.J, n.z / G.J};
    V3<R> f10 = G.f1 - G.f0, f20 = G.f2 - G.f0, g10 = G.g1 - G.g0, g20 = G.g2 - G.g0;
    G.v11 = mix(2 * G.a1, f10, 2 * G.a2, f20); G.v22 = mix(2 * G.b1, g10, 2 * G.b2, g20);
    V3<R> mm = mix(G.a1, g10, G.a2, g20), ww = mix(G.b1, f10, G.b2, f20);
    G.v12 = {mm.x + ww.x, mm.y + ww.y, mm.z + ww.z};
    return G;
}

template <class R> inline int whole(int n) { constexpr int r = 64 / sizeof(R); return (n + r - 1) / r * r; }

// count packed lanes to the surface
template <class R> inline void give_back_lanes(Lanes<R>& L, int count, const Law<R>& law) {
    const R one = 1, ce = one / law.E, cs = 2 * (one + law.nu) * ce;
    const int n = whole<R>(count);
    for (int j = 0; j < n; ++j) { L.dl[j] = 0; L.low[j] = 0; L.high[j] = -1; L.done[j] = 0; }
    for (int turn = 0; turn < 61; ++turn) {
        #pragma omp simd
        for (int j = 0; j < n; ++j) {
            R b = law.e0 + L.ep[j] + L.dl[j], s = law.K * ex(law.n * ln(b));
            L.sy[j] = L.done[j] > 0 ? L.sy[j] : s; L.slope[j] = L.done[j] > 0 ? L.slope[j] : s * law.n / b;
        }
        if (turn == 0) {
            const R k = law.E / (one - law.nu * law.nu), sh = R(0.5) * law.E / (one + law.nu);
            #pragma omp simd
            for (int j = 0; j < n; ++j) {
                R t11 = k * (L.b[0][j] + law.nu * L.b[1][j]), t22 = k * (L.b[1][j] + law.nu * L.b[0][j]), t12 = sh * L.b[2][j];
                R s2 = t11 * (law.p11 * t11 + 2 * law.p12 * t22) + law.p22 * t22 * t22 + law.p33 * t12 * t12;
                L.done[j] = s2 <= L.sy[j] * L.sy[j] ? one : R(0);
            }
        }
        int waiting = 0;
        #pragma omp simd reduction(+ : waiting)
        for (int j = 0; j < n; ++j) {
            R old = L.dl[j], sy = L.sy[j], slope = L.slope[j], g = old / sy;
            R m11 = ce + g * law.p11, m22 = ce + g * law.p22, m12 = g * law.p12 - law.nu * ce, i33 = one / (cs + g * law.p33), idet = one / (m11 * m22 - m12 * m12);
            R x1 = (m22 * L.b[0][j] - m12 * L.b[1][j]) * idet, x2 = (m11 * L.b[1][j] - m12 * L.b[0][j]) * idet, x3 = L.b[2][j] * i33;
            R y1 = law.p11 * x1 + law.p12 * x2, y2 = law.p12 * x1 + law.p22 * x2, y3 = law.p33 * x3;
            R s = std::sqrt(x1 * y1 + x2 * y2 + x3 * y3), res = sy / s - one;
            R lo = res < 0 ? old : L.low[j], hi = res < 0 ? L.high[j] : old;
            R dg = (one - g * slope) / sy, c1 = -dg * y1, c2 = -dg * y2, c3 = -dg * y3;
            R ds = (y1 * (m22 * c1 - m12 * c2) * idet + y2 * (m11 * c2 - m12 * c1) * idet + y3 * c3 * i33) / s;
            R change = -res * s / (slope - sy * ds / s), next = old + change;
            bool inside = (next > lo) & ((hi < 0) | (next < hi));
            R halved = hi > 0 ? R(0.5) * (lo + hi) : 2 * lo + R(1e-6);
            next = inside ? next : halved;
            bool over = (L.done[j] > 0) | (std::fabs(res) <= law.tol) | (next == old), final = inside & (res * res <= R(0.1) * law.tol);
            L.low[j] = lo; L.high[j] = hi; L.dl[j] = over ? old : next;
            L.sy[j] = over ? sy : (final ? sy + slope * change : sy);
            L.done[j] = (over | final) ? one : R(0);
            waiting += (over | final) ? 0 : 1;
        }
        if (!waiting) break;
    }
    #pragma omp simd
    for (int j = 0; j < n; ++j) {
        R g = L.dl[j] / L.sy[j], m11 = ce + g * law.p11, m22 = ce + g * law.p22, m12 = g * law.p12 - law.nu * ce, i33 = one / (cs + g * law.p33), idet = one / (m11 * m22 - m12 * m12);
        R x1 = (m22 * L.b[0][j] - m12 * L.b[1][j]) * idet, x2 = (m11 * L.b[1][j] - m12 * L.b[0][j]) * idet, x3 = L.b[2][j] * i33;
        L.u[0][j] = x1; L.u[1][j] = x2; L.u[2][j] = x3;
        L.y[0][j] = g * (law.p11 * x1 + law.p12 * x2); L.y[1][j] = g * (law.p12 * x1 + law.p22 * x2); L.y[2][j] = g * law.p33 * x3;
    }
}

template <class R> inline __attribute__((always_inline)) void forces(Lanes<R>& L, int i) {
    const R third = R(1.0 / 3.0);
    Gradients<R> G = gradients(L, i);
    R g11 = L.g[0][i], g12 = L.g[1][i], g21 = L.g[2][i], g22 = L.g[3][i], o11 = L.o[0][i], o22 = L.o[1][i], o12 = L.o[2][i];
    R r11 = g11 * o11 + g12 * o12, r12 = g11 * o12 + g12 * o22, r21 = g21 * o11 + g22 * o12, r22 = g21 * o12 + g22 * o22;
    R n11 = L.n[0][i] - (r11 * g11 + r12 * g12), n22 = L.n[1][i] - (r21 * g21 + r22 * g22), n12 = L.n[2][i] - (r11 * g21 + r12 * g22);
    R m11 = L.m[0][i] + r11, m22 = L.m[1][i] + r22, m12 = L.m[2][i] + R(0.5) * (r12 + r21), vol = L.k[16][i] * L.k[17][i];
    R T11 = third * vol * n11, T22 = third * vol * n22, T12 = third * vol * n12, B11 = 2 * vol * m11, B22 = 2 * vol * m22, B12 = 2 * vol * m12;
    V3<R> uc = cross(G.v, G.n), vc = cross(G.n, G.u), big = mix(m11, G.v11, m22, G.v22);
    big = mix(R(1), big, 2 * m12, G.v12);
    R ru = vol * dot(big, uc) / G.J, rv = vol * dot(big, vc) / G.J;
    auto [s0, t0] = side(G.f0, G.g0, G.n, G.a0, G.b0, T11, T22, T12, B11, B22, B12);
    auto [s1, t1] = side(G.f1, G.g1, G.n, G.a1, G.b1, T11, T22, T12, B11, B22, B12);
    auto [s2, t2] = side(G.f2, G.g2, G.n, G.a2, G.b2, T11, T22, T12, B11, B22, B12);
    L.F[18][i] = R(0.5) * L.k[21][i] * (B11 * G.a0 * G.a0 + B22 * G.b0 * G.b0 + 2 * B12 * G.a0 * G.b0);
    L.F[19][i] = R(0.5) * L.k[22][i] * (B11 * G.a1 * G.a1 + B22 * G.b1 * G.b1 + 2 * B12 * G.a1 * G.b1);
    L.F[20][i] = R(0.5) * L.k[23][i] * (B11 * G.a2 * G.a2 + B22 * G.b2 * G.b2 + 2 * B12 * G.a2 * G.b2);
    V3<R> P0 = mix(L.k[0][i], s0, L.k[2][i], t0), Y0 = mix(L.k[1][i], s0, L.k[3][i], t0), P1 = mix(L.k[4][i], s1, L.k[6][i], t1), Y1 = mix(L.k[5][i], s1, L.k[7][i], t1), P2 = mix(L.k[8][i], s2, L.k[10][i], t2), Y2 = mix(L.k[9][i], s2, L.k[11][i], t2);
    R w0 = ru * G.a0 + rv * G.b0, w1 = ru * G.a1 + rv * G.b1, w2 = ru * G.a2 + rv * G.b2;
    L.F[0][i] = -P0.x - Y1.x + Y2.x - w0 * G.n.x; L.F[1][i] = -P0.y - Y1.y + Y2.y - w0 * G.n.y; L.F[2][i] = -P0.z - Y1.z + Y2.z - w0 * G.n.z;
    L.F[3][i] = Y0.x - P1.x - Y2.x - w1 * G.n.x; L.F[4][i] = Y0.y - P1.y - Y2.y - w1 * G.n.y; L.F[5][i] = Y0.z - P1.z - Y2.z - w1 * G.n.z;
    L.F[6][i] = -Y0.x + Y1.x - P2.x - w2 * G.n.x; L.F[7][i] = -Y0.y + Y1.y - P2.y - w2 * G.n.y; L.F[8][i] = -Y0.z + Y1.z - P2.z - w2 * G.n.z;
    L.F[9][i] = P0.x; L.F[10][i] = P0.y; L.F[11][i] = P0.z; L.F[12][i] = P1.x; L.F[13][i] = P1.y; L.F[14][i] = P1.z; L.F[15][i] = P2.x; L.F[16][i] = P2.y; L.F[17][i] = P2.z;
}

// count elements from start on; returns how many are not fine
template <class R> inline int elements(Sheet<R>& S, int start, int count) {
    Lanes<R> L;
    const double* x = S.x.data();
    const Law<R>& law = S.law;
    const int n = whole<R>(count);
    const R third = R(1.0 / 3.0), one = 1;
    for (int i = 0; i < n; ++i) {
        asm volatile("");  // stays scalar: vector gathers of whole rows are slower
        int e = start + std::min(i, count - 1);
        const int* c = &S.conn[9 * e];
        for (int a = 0; a < 5; ++a) for (int d = 0; d < 3; ++d) L.p[3 * a + d][i] = R(x[3 * c[a + 1] + d] - x[3 * c[0] + d]);
        #pragma GCC unroll 24
        for (int k = 0; k < 24; ++k) L.k[k][i] = S.coef[24 * e + k];
        for (int k = 0; k < 3; ++k) L.q[k][i] = S.coef[24 * e + 21 + k] * S.slope[c[6 + k]];
        L.h[i] = S.coef[24 * e + 17] * S.stretch[e];
    }
    int bad = 0;
    #pragma omp simd reduction(+ : bad)
    for (int i = 0; i < n; ++i) {
        Gradients<R> G = gradients(L, i);
        R c11 = third * (dot(G.f0, G.f0) + dot(G.f1, G.f1) + dot(G.f2, G.f2)), c22 = third * (dot(G.g0, G.g0) + dot(G.g1, G.g1) + dot(G.g2, G.g2));
        R c12 = third * (dot(G.f0, G.g0) + dot(G.f1, G.g1) + dot(G.f2, G.g2));
        R k11 = dot(G.v11, G.n) - L.k[18][i], k22 = dot(G.v22, G.n) - L.k[19][i], k12 = dot(G.v12, G.n) - L.k[20][i];
        R q0 = L.q[0][i], q1 = L.q[1][i], q2 = L.q[2][i];
        k11 += q0 * G.a0 * G.a0 + q1 * G.a1 * G.a1 + q2 * G.a2 * G.a2; k22 += q0 * G.b0 * G.b0 + q1 * G.b1 * G.b1 + q2 * G.b2 * G.b2;
        k12 += q0 * G.a0 * G.b0 + q1 * G.a1 * G.b1 + q2 * G.a2 * G.b2;
        R id = 1 / (c11 * c22 - c12 * c12);
        R g11 = (c22 * k11 - c12 * k12) * id, g12 = (c22 * k12 - c12 * k22) * id, g21 = (c11 * k12 - c12 * k11) * id, g22 = (c11 * k22 - c12 * k12) * id;
        L.c[0][i] = c11; L.c[1][i] = c22; L.c[2][i] = c12; L.kk[0][i] = k11; L.kk[1][i] = k22; L.kk[2][i] = k12;
        L.w[0][i] = k11 * g11 + k12 * g21; L.w[1][i] = k12 * g12 + k22 * g22; L.w[2][i] = k11 * g12 + k12 * g22;
        L.g[0][i] = g11; L.g[1][i] = g12; L.g[2][i] = g21; L.g[3][i] = g22;
        for (int d = 0; d < 3; ++d) L.n[d][i] = L.m[d][i] = L.o[d][i] = 0;
        L.thin[i] = 0;
        bad += (G.J > R(0.1)) & (G.J < R(20)) ? 0 : 1;
    }
    const R k = law.E / (one - law.nu * law.nu), shear = R(0.5) * law.E / (one + law.nu), first2 = law.first * law.first;
    for (int s = 0; s < S.ns; ++s) {
        const R place = S.st[2 * s], w = S.st[2 * s + 1];
        int far = 0;
        #pragma omp simd reduction(+ : far, bad)
        for (int i = 0; i < n; ++i) {
            R z = L.h[i] * place, z2 = z * z;
            R c11 = L.c[0][i] + 2 * z * L.kk[0][i] + z2 * L.w[0][i], c22 = L.c[1][i] + 2 * z * L.kk[1][i] + z2 * L.w[1][i], c12 = L.c[2][i] + 2 * z * L.kk[2][i] + z2 * L.w[2][i];
            R m = R(0.5) * (c11 + c22), q = R(0.5) * (c11 - c22), dd = q * q + c12 * c12, det = m * m - dd, im = 1 / m, y = dd * im * im;
            L.beta[i] = im * (1 + y * (R(1.0 / 3) + y * (R(0.2) + y * (R(1.0 / 7) + y * (R(1.0 / 9) + y * (R(1.0 / 11) + y * (R(1.0 / 13) + y * R(1.0 / 15))))))));
            L.gamma[i] = im * im * im * (R(2.0 / 3) + y * (R(0.8) + y * (R(6.0 / 7) + y * (R(8.0 / 9) + y * (R(10.0 / 11) + y * (R(12.0 / 13) + y * (R(14.0 / 15) + y * R(16.0 / 17))))))));
            far += y < R(0.02) ? 0 : 1;
            bad += (det > 0) & (m > 0) ? 0 : 1;
            L.mean[i] = m; L.dev[i] = q; L.d2[i] = dd; L.det[i] = det; L.sh[i] = c12;
        }
        if (far) {
            #pragma omp simd
            for (int i = 0; i < n; ++i) {
                R d = std::sqrt(L.d2[i]), wide = R(0.5) * ln((L.mean[i] + d) / (L.mean[i] - d)) / d, im = 1 / L.mean[i];
                bool near = L.d2[i] * im * im < R(0.02);
                L.beta[i] = near ? L.beta[i] : wide; L.gamma[i] = near ? L.gamma[i] : (L.mean[i] / L.det[i] - wide) / L.d2[i];
            }
        }
        for (int i = 0; i < n; ++i) {
            asm volatile("");
            const R* a = &S.state[((start + std::min(i, count - 1)) * S.ns + s) * 4];
            L.ps[0][i] = a[0]; L.ps[1][i] = a[1]; L.ps[2][i] = a[2];
        }
        #pragma omp simd
        for (int i = 0; i < n; ++i) {
            R em = R(0.25) * ln(L.det[i]), e1 = R(0.5) * L.beta[i] * L.dev[i];
            R e11 = em + e1 - L.ps[0][i], e22 = em - e1 - L.ps[1][i], g12 = L.beta[i] * L.sh[i] - L.ps[2][i];
            R t11 = k * (e11 + law.nu * e22), t22 = k * (e22 + law.nu * e11), t12 = shear * g12;
            L.e[0][i] = e11; L.e[1][i] = e22; L.e[2][i] = g12; L.t[0][i] = t11; L.t[1][i] = t22; L.t[2][i] = t12;
            L.s2[i] = t11 * (law.p11 * t11 + 2 * law.p12 * t22) + law.p22 * t22 * t22 + law.p33 * t12 * t12;
        }
        int many = 0;
        for (int i = 0; i < count; ++i) { L.who[many] = i; many += L.s2[i] <= first2 ? 0 : 1; }
        if (many) {
            for (int j = 0; j < whole<R>(many); ++j) {
                int i = L.who[std::min(j, many - 1)];
                L.b[0][j] = L.e[0][i]; L.b[1][j] = L.e[1][i]; L.b[2][j] = L.e[2][i]; L.ep[j] = S.state[((start + i) * S.ns + s) * 4 + 3];
            }
            give_back_lanes(L, many, law);
            for (int j = 0; j < many; ++j) {
                int i = L.who[j];
                R* a = &S.state[((start + i) * S.ns + s) * 4];
                if (L.dl[j] > 0) {
                    for (int d = 0; d < 3; ++d) { L.t[d][i] = L.u[d][j]; L.ps[d][i] += L.y[d][j]; a[d] = L.ps[d][i]; }
                    a[3] += L.dl[j];
                }
            }
        }
        #pragma omp simd reduction(+ : bad)
        for (int i = 0; i < n; ++i) {
            R r1 = L.t[0][i] - L.t[1][i], r2 = 2 * L.t[2][i], ts = L.t[0][i] + L.t[1][i], tq = r1 * L.dev[i] + r2 * L.sh[i], idet = 1 / L.det[i];
            R sm = R(0.5) * (ts * L.mean[i] - tq) * idet, kk = L.gamma[i] * tq - ts * idet, s1 = R(0.5) * (L.beta[i] * r1 + kk * L.dev[i]);
            R s12 = R(0.5) * (L.beta[i] * r2 + kk * L.sh[i]), s11 = sm + s1, s22 = sm - s1, z = L.h[i] * place, wz = w * z, wz2 = wz * z;
            bad += std::fabs(s11) + std::fabs(s22) + std::fabs(s12) < R(1e30) ? 0 : 1;
            L.n[0][i] += w * s11; L.n[1][i] += w * s22; L.n[2][i] += w * s12; L.m[0][i] += wz * s11; L.m[1][i] += wz * s22; L.m[2][i] += wz * s12;
            L.o[0][i] += wz2 * s11; L.o[1][i] += wz2 * s22; L.o[2][i] += wz2 * s12;
            L.thin[i] += w * (-law.nu / law.E * ts - L.ps[0][i] - L.ps[1][i]);
        }
    }
    #pragma omp simd
    for (int i = 0; i < n; ++i) L.thin[i] = ex(L.thin[i]);
    #pragma omp simd
    for (int i = 0; i < n; ++i) forces(L, i);
    for (int i = 0; i < count; ++i) {
        S.stretch[start + i] = L.thin[i];
        for (int d = 0; d < 21; ++d) S.force[21 * (start + i) + d] = L.F[d][i];
    }
    return bad;
}

template <class R> void run(const std::string& dir, int steps, double dt, double drag, int threads, bool lanes) {
    Sheet<R> S;
    auto real = [&](const char* name) { auto d = load<double>(dir + "/" + name); return std::vector<R>(d.begin(), d.end()); };
    S.x = load<double>(dir + "/x"); S.conn = load<int>(dir + "/conn"); S.start = load<int>(dir + "/start"); S.slots = load<int>(dir + "/slots");
    S.side_slots = load<int>(dir + "/side_slots"); S.bc = load<int>(dir + "/bc");
    S.coef = real("coef"); S.state = real("state"); S.stretch = real("stretch"); S.st = real("stations"); S.v = real("v"); S.mass = real("mass");
    S.inertia = real("inertia"); S.scale = real("scale");
    auto l = load<double>(dir + "/law");
    S.law = {R(l[0]), R(l[1]), R(l[2]), R(l[3]), R(l[4]), R(l[5]), R(l[6]), R(l[7]), R(l[8]), R(l[9]), sizeof(R) == 4 ? R(2e-6) : R(1e-10)};
    S.n = S.x.size() / 3; S.ne = S.conn.size() / 9; S.ns = S.st.size() / 2; S.sides = S.side_slots.size() / 2;
    S.force.assign(21 * S.ne, 0); S.slope.assign(S.sides, 0); S.slope_v.assign(S.sides, 0);
    omp_set_num_threads(threads);
    int bad = 0;
    R h = R(dt), ct = R(0.5) * R(drag) * h;
    double best = 1e30, total = 0;
    for (int rep = 0; rep < 4; ++rep) {
        auto t0 = std::chrono::steady_clock::now();
        clock_t c0 = clock();
        for (int step = 0; step < steps / 4; ++step) {
            if (lanes) {
                #pragma omp parallel for schedule(static) reduction(+ : bad)
                for (int b = 0; b < (S.ne + LANES - 1) / LANES; ++b) bad += elements(S, b * LANES, std::min(LANES, S.ne - b * LANES));
            } else {
                #pragma omp parallel for schedule(static) reduction(+ : bad)
                for (int e = 0; e < S.ne; ++e) bad += !element(S, e);
            }
            #pragma omp parallel
            {
                #pragma omp for schedule(static) nowait
                for (int i = 0; i < S.sides; ++i) {
                    R m = S.inertia[i];
                    if (m <= 0) continue;
                    int a = S.side_slots[2 * i], c = S.side_slots[2 * i + 1];
                    R f = S.force[21 * (a / 3) + 18 + a % 3];
                    if (c >= 0) f += S.force[21 * (c / 3) + 18 + c % 3];
                    R nv = ((1 - ct) * S.slope_v[i] - h * f / m) / (1 + ct);
                    S.slope_v[i] = nv; S.slope[i] += h * nv;
                }
                #pragma omp for schedule(static)
                for (int i = 0; i < S.n; ++i) {
                    R f[3] = {0, 0, 0};
                    for (int k = S.start[i]; k < S.start[i + 1]; ++k) {
                        const R* F = &S.force[21 * (S.slots[k] / 6) + 3 * (S.slots[k] % 6)];
                        f[0] += F[0]; f[1] += F[1]; f[2] += F[2];
                    }
                    for (int d = 0; d < 3; ++d) {
                        R nv = S.bc[3 * i + d] < 0 ? S.v[3 * i + d] - h * f[d] / S.mass[i] : S.scale[3 * i + d];
                        S.v[3 * i + d] = nv; S.x[3 * i + d] += h * nv;
                    }
                }
            }
        }
        double cpu = double(clock() - c0) / CLOCKS_PER_SEC, wall = std::chrono::duration<double>(std::chrono::steady_clock::now() - t0).count();
        total += cpu;
        if (wall < best) best = wall;
    }
    double per = 1e9 / (double(steps / 4) * S.ne);
    long yielded = 0;
    for (size_t i = 3; i < S.state.size(); i += 4) yielded += S.state[i] > 0;
    printf("%.1f %.1f %d %ld\n", best * per, total * per / 4, bad, yielded);
    FILE* f = fopen((dir + (sizeof(R) == 4 ? "/x_float" : "/x_double")).c_str(), "wb");
    fwrite(S.x.data(), 8, S.x.size(), f);
    fclose(f);
}

int main(int argc, char** argv) {
    if (argc < 8) { fprintf(stderr, "usage: %s folder double|float steps dt drag threads one|lanes\n", argv[0]); return 1; }
    int steps = atoi(argv[3]), threads = atoi(argv[6]);
    double dt = atof(argv[4]), drag = atof(argv[5]);
    bool lanes = !strcmp(argv[7], "lanes");
    if (!strcmp(argv[2], "float")) run<float>(argv[1], steps, dt, drag, threads, lanes); else run<double>(argv[1], steps, dt, drag, threads, lanes);
}
