// The shell step of diewright/mechanics/shell written by hand in scalar C++, for comparison in speed and answer.
// Hill 1948 + Swift, no back stress, no pressure, no mirrors. Reads the arrays that benchmarks/shell.py writes, runs, writes x back.
// g++ -O3 -march=native -ffp-contract=fast -fopenmp shell_reference.cpp -o shell_reference
#include <chrono>
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

template <class R> inline void side(V3<R> f, V3<R> g, V3<R> n, R la, R lb, R t11, R t22, R t12, R b11, R b22, R b12, V3<R>& s, V3<R>& t) {
    R bf = b11 * la + b12 * lb, bg = b12 * la + b22 * lb;
    s = mix(t11, f, t12, g); t = mix(t12, f, t22, g);
    s = {s.x + bf * n.x, s.y + bf * n.y, s.z + bf * n.z}; t = {t.x + bg * n.x, t.y + bg * n.y, t.z + bg * n.z};
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
    V3<R> s0, t0v, s1, t1, s2, t2;
    side(f0, g0, n, a0, b0, T11, T22, T12, B11, B22, B12, s0, t0v);
    side(f1, g1, n, a1, b1, T11, T22, T12, B11, B22, B12, s1, t1);
    side(f2, g2, n, a2, b2, T11, T22, T12, B11, B22, B12, s2, t2);
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

template <class R> void run(const std::string& dir, int steps, double dt, double drag, int threads) {
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
            #pragma omp parallel for schedule(static) reduction(+ : bad)
            for (int e = 0; e < S.ne; ++e) bad += !element(S, e);
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
    if (argc < 7) { fprintf(stderr, "usage: %s folder double|float steps dt drag threads\n", argv[0]); return 1; }
    int steps = atoi(argv[3]), threads = atoi(argv[6]);
    double dt = atof(argv[4]), drag = atof(argv[5]);
    if (!strcmp(argv[2], "float")) run<float>(argv[1], steps, dt, drag, threads); else run<double>(argv[1], steps, dt, drag, threads);
}
