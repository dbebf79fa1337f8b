"""The printed kernels are the ones SymPy derives, and solve the closures they come from."""

from pathlib import Path

import mpmath
import numpy as np

from linkage.motion import kernels, symbolic


def test_kernels_on_disk_are_the_derived_ones():
    assert symbolic.printed() == Path(kernels.__file__).read_text(encoding="utf-8")


def random_loop(rng):
    u = rng.normal(size=3)
    u /= np.linalg.norm(u)
    return rng.normal(size=3) * 50, rng.normal(size=3) * 30, u, rng.normal(size=3) * 100


def test_turn_closes_the_loop_to_rounding():
    """Against the rod length itself, worked in 40 digits by mpmath (general-purpose library)."""
    rng = np.random.default_rng(1)
    with mpmath.workdps(40):
        for _ in range(200):
            r, c, u, q = random_loop(rng)
            length = float(np.linalg.norm(r - q))
            parts = kernels.turn_parts(r, c, u, q, length)
            cos, sin = kernels.turn_close(*parts, np.sign(parts[1]))
            assert abs(cos - 1) < 1e-11
            assert abs(sin) < 1e-10
            moved = kernels.turn_point([mpmath.mpf(x) for x in r], c, u, mpmath.mpf(float(cos)),
                                       mpmath.mpf(float(sin)))
            apart = mpmath.norm([a - mpmath.mpf(b) for a, b in zip(moved, q, strict=True)])
            assert abs(apart / length - 1) < 1e-11


def test_rates_against_complex_step():
    """Derivatives against complex-step differences (Squire & Trapp 1998, from memory)."""
    rng = np.random.default_rng(2)
    h = 1e-30
    for _ in range(50):
        r, c, u, q = random_loop(rng)
        d = [rng.normal(size=3) for _ in range(4)]
        d[2] -= u * (d[2] @ u)  # an axis stays a unit vector
        length, d_length = float(np.linalg.norm(r - q)), rng.normal()
        parts = kernels.turn_parts(r, c, u, q, length)
        sign = np.sign(parts[1])
        cos, sin = kernels.turn_close(*parts, sign)
        rate = kernels.turn_rate(r, c, u, q, length, cos, sin, d[0], d[1], d[2], d[3], d_length)
        stepped = kernels.turn_parts(*(x + 1j * h * dx for x, dx in
                                       zip((r, c, u, q, length), (*d, d_length), strict=True)))
        cos_s, sin_s = kernels.turn_close(*stepped, sign)
        expected = (sin_s.imag * cos - cos_s.imag * sin) / h
        assert abs(rate - expected) <= 1e-8 * max(1, abs(expected))
        p_rate = kernels.turn_point_rate(r, c, u, cos, sin, d[0], d[1], d[2], rate)
        p_step = kernels.turn_point(r + 1j * h * d[0], c + 1j * h * d[1], u + 1j * h * d[2],
                                    cos_s, sin_s)
        np.testing.assert_allclose(p_rate, np.imag(p_step) / h, rtol=1e-8, atol=1e-8)


def test_slide_closes_and_differentiates():
    rng = np.random.default_rng(3)
    h = 1e-30
    for _ in range(50):
        r, _, u, q = random_loop(rng)
        length = float(np.linalg.norm(r - q))
        sign = np.sign(kernels.slide_lead(r, u, q))
        dq = rng.normal(size=3)
        zero = (0.0, 0.0, 0.0)
        t = kernels.slide_close(r, u, q, length, sign)
        assert abs(t) < 1e-10
        rate = kernels.slide_rate(r, u, q, length, t, zero, zero, dq, 0.0)
        stepped = kernels.slide_close(r, u, q + 1j * h * dq, length, sign).imag / h
        assert abs(rate - stepped) <= 1e-8 * max(1, abs(stepped))
