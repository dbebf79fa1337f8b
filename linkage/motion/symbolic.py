"""Loop closures, their closed-form solutions and derivatives: derived by SymPy, printed as arrays.

``python -m linkage.motion.symbolic`` writes `kernels.py` beside it, which the other files of
motion run; so a run never waits for SymPy, and the formulas that run are those derived here.

One rod closes one loop.  With the joint's centre c, unit axis u, near rod end r and far end q,
all in the frame that carries the joint, a turn by theta must satisfy

    | c + T(u, theta) (r - c) - q |^2 = L^2   <=>   A cos theta + B sin theta = C

(McCarthy & Soh, Geometric Design of Linkages, 2nd ed., app. A, eqs A.1 and A.5).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import sympy as sp

HEADER = '''"""Closed forms of a joint and a rod, written by ``python -m linkage.motion.symbolic``.

Every argument is a number, an array, a complex array or an enclosure over a cell of travel;
points are tuples of three.  `theta` is the turn about the axis, `t` the way along the slide.
"""

import numpy as np
'''


def vector(name: str) -> sp.Matrix:
    """Three real symbols ``name_x, name_y, name_z`` as a column."""
    return sp.Matrix(sp.symbols(f"{name}_x {name}_y {name}_z", real=True))


THETA, T, LENGTH = sp.symbols("theta t length", real=True)
COS, SIN, SIGN = sp.symbols("cos sin sign", real=True)
P, C, U, R, Q, E, X, Y = (vector(name) for name in ("p", "c", "u", "r", "q", "e", "x", "y"))


def turned(x: sp.Matrix, cos: Any, sin: Any) -> sp.Matrix:
    """Where a turn about U through the origin takes x: Rodrigues' formula."""
    along = U * U.dot(x)
    return along + cos * (x - along) + sin * U.cross(x)


def turn_closure() -> sp.Expr:
    """Zero when a rod from x on the turned body reaches y, both counted from the joint's centre."""
    e = turned(X, sp.cos(THETA), sp.sin(THETA)) - Y
    return e.dot(e) - LENGTH**2


def slide_closure() -> sp.Expr:
    """Zero when a rod from r on the sliding body reaches q."""
    e = R + T * U - Q
    return e.dot(e) - LENGTH**2


def turn_coefficients() -> tuple[sp.Expr, sp.Expr, sp.Expr]:
    """A, B and C of the closure, collected from it with the axis taken as the unit vector it is.

    The closure is written in d = y - r_along, r_across and w = u x r_across, whose products
    r_across . w = 0 and w . w = r_across . r_across hold for a unit axis.
    """
    across2, d2, da, dw = sp.symbols("across2 d2 da dw")
    # |d - cos a - sin w|^2 expanded, with a.w = 0 and w.w = a.a put in
    squared = d2 + COS**2 * across2 + SIN**2 * across2 - 2 * COS * da - 2 * SIN * dw
    closure = sp.expand(squared - LENGTH**2).subs(COS**2, 1 - SIN**2)
    linear = sp.Poly(sp.expand(closure), COS, SIN)
    along = U * U.dot(X)
    across, w, d = X - along, U.cross(X), Y - along
    meaning = {across2: across.dot(across), d2: d.dot(d), da: d.dot(across), dw: d.dot(w)}
    a, b, c = (linear.coeff_monomial(m) for m in (COS, SIN, 1))
    return tuple(sp.sympify(k).subs(meaning) for k in (-a, -b, c))


def turn_solution() -> tuple[sp.Expr, sp.Expr]:
    """Cos and sin of the turn from A, B, C and the sign of B at neutral.

    SymPy solves the line A cos + B sin = C with the unit circle; of the two crossings the one on
    which d(closure)/d(theta) keeps the sign is taken.  The root is written as
    sqrt((R - C)(R + C)), which keeps its digits near a dead centre.
    """
    a, b, c, root = sp.symbols("a b c root", real=True)
    crossings = sp.solve([a * COS + b * SIN - c, COS**2 + SIN**2 - 1], [COS, SIN], dict=True)
    plain = sp.sqrt(a**2 + b**2 - c**2)
    size = sp.sqrt(a**2 + b**2)
    for crossing in crossings:
        cos, sin = (sp.expand(sp.simplify(crossing[k] * (a**2 + b**2))).subs(plain, root)
                    for k in (COS, SIN))
        slope = sp.expand((-a * sin + b * cos) / (a**2 + b**2))
        if sp.simplify(slope - root) == 0:  # the crossing where B leads
            whole = SIGN * sp.sqrt((size - c) * (size + c))
            return tuple(k.subs(root, whole) / (a**2 + b**2) for k in (cos, sin))
    raise AssertionError("no crossing has the slope of B")


def slide_solution() -> sp.Expr:
    """Way along the slide, on the side of the sign of d . u at neutral."""
    half, square = sp.symbols("half square", real=True)
    d = Q - R
    roots = sp.solve(T**2 - 2 * T * half + square, T)
    near = next(root for root in roots if root.coeff(sp.sqrt(half**2 - square)) == -1)
    across = d - U * d.dot(U)
    return near.subs(sp.sqrt(half**2 - square),
                     SIGN * sp.sqrt(LENGTH**2 - across.dot(across))).subs(half, d.dot(U))


def rate(expression: sp.Expr, variables: dict) -> sp.Expr:
    """Total rate of an expression from the rates of its variables: sum of d/dx times its rate."""
    return sum((sp.diff(expression, symbol) * step for symbol, step in variables.items()),
               start=sp.S.Zero)


def _rates(*vectors) -> dict:
    """``{symbol: rate symbol}`` for vectors and single symbols."""
    flat = [s for v in vectors for s in (v if isinstance(v, sp.Matrix) else [v])]
    return {symbol: sp.Symbol(f"d_{symbol.name}", real=True) for symbol in flat}


def turn_point_rate() -> list[sp.Expr]:
    """Rate of a turned point from the rates of point, centre, axis and turn."""
    steps = _rates(X, C, U, THETA)
    place = C + turned(X, sp.cos(THETA), sp.sin(THETA))
    return [_plain_trig(rate(component, steps)) for component in place]


def turn_rate() -> sp.Expr:
    """Rate of the turn by implicit differentiation of the closure."""
    closure = turn_closure()
    pushed = rate(closure, _rates(X, Y, U, LENGTH))
    return _plain_trig(-pushed / sp.diff(closure, THETA))


def slide_rate() -> sp.Expr:
    """Rate of the slide by implicit differentiation of its closure."""
    closure = slide_closure()
    return -rate(closure, _rates(R, U, Q, LENGTH)) / sp.diff(closure, T)


def _plain_trig(expression):
    return expression.subs({sp.cos(THETA): COS, sp.sin(THETA): SIN})


def margin() -> sp.Expr:
    """Sine of the over-centre margin of a rod end: |u . (r x e)| / (|r_across| |e|), signed."""
    across = X - U * U.dot(X)
    return U.dot(X.cross(E)) / sp.sqrt(across.dot(across)) / sp.sqrt(E.dot(E))


def closure_latex(slides: bool = False) -> str:
    r"""The loop closure that one rod closes, as LaTeX.

    Parameters
    ----------
    slides : bool
        For a sliding joint instead of a turning one.

    Returns
    -------
    str

    Examples
    --------
    >>> closure_latex()
    'A \\cos{\\left(\\theta \\right)} + B \\sin{\\left(\\theta \\right)} = C'
    """
    if slides:
        lead, square = sp.symbols("h S")
        return sp.latex(sp.Eq(T**2 - 2 * lead * T + square, 0))
    a, b, c = sp.symbols("A B C")
    return sp.latex(sp.Eq(a * sp.cos(THETA) + b * sp.sin(THETA), c))


def numbers_latex(values: dict) -> str:
    """Named numbers as LaTeX, such as the A, B and C of one rod.

    Parameters
    ----------
    values : dict
        ``{symbol: number}``.

    Returns
    -------
    str

    Examples
    --------
    >>> numbers_latex({"A": 12.0})
    'A = 12.0'
    """
    return ",\\quad ".join(sp.latex(sp.Eq(sp.Symbol(name), sp.Float(value, 6)), full_prec=False)
                          for name, value in values.items())


def gearing_latex(terms: list) -> str:
    """Neutral gearing as LaTeX: a sum of products of arm ratios.

    Parameters
    ----------
    terms : list of list of (float, float, float, float)
        One list per way through the system; each stage has the driving arm, the sine of its angle
        to the rod, the driven arm and its sine.

    Returns
    -------
    str
        With the numbers put in and worked out.
    """
    total, shown = 0.0, []
    for stages in terms:
        product, factors = 1.0, []
        for arm, sine, driven, driven_sine in stages:
            product *= arm * sine / (driven * driven_sine)
            if not abs(arm) == sine == driven == driven_sine == 1:  # an input's own sense
                factors.append(f"\\frac{{{abs(arm):.4g} \\cdot {abs(sine):.4f}}}"
                               f"{{{driven:.4g} \\cdot {abs(driven_sine):.4f}}}")
        total += product
        sign = "-" if product < 0 else "+" if shown else ""
        shown.append(sign + (r" \cdot ".join(factors) or "1"))
    rate_symbol = sp.latex(sp.Derivative(sp.Symbol("delta"), THETA))
    return f"{rate_symbol} = {' '.join(shown) or '0'} = {total:.4f}"


def kernels() -> dict:
    """Every kernel as ``{name: (arguments, shorthands, results, what it gives)}``."""
    a, b, c = sp.symbols("a b c", real=True)
    d = {v: vector(f"d_{v}") for v in "pcurqxy"}
    d_theta, d_t, d_length = sp.symbols("d_theta d_t d_length", real=True)
    ends = {"x": R - C, "y": Q - C}
    end_rates = {"d_x": d["r"] - d["c"], "d_y": d["q"] - d["c"]}
    return {
        "turn_point": ([P, C, U, COS, SIN], {"x": P - C}, list(C + turned(X, COS, SIN)),
                       "Place of a point of a turned body."),
        "turn_parts": ([R, C, U, Q, LENGTH], ends, list(turn_coefficients()),
                       "A, B and C of the closure A cos theta + B sin theta = C."),
        "turn_close": ([a, b, c, SIGN], {}, list(turn_solution()),
                       "Cos and sin of the turn that closes the loop."),
        "turn_point_rate": ([P, C, U, COS, SIN, d["p"], d["c"], d["u"], d_theta],
                            {"x": P - C, "d_x": d["p"] - d["c"]}, turn_point_rate(),
                            "Rate of a point of a turned body."),
        "turn_rate": ([R, C, U, Q, LENGTH, COS, SIN, d["r"], d["c"], d["u"], d["q"], d_length],
                      ends | end_rates, [turn_rate()],
                      "Rate of the turn that keeps the loop closed."),
        "slide_point": ([P, U, T], {}, list(P + T * U), "Place of a point of a sliding body."),
        "slide_lead": ([R, U, Q], {}, [(Q - R).dot(U)],
                       "Distance of the far end ahead of the near one along the slide."),
        "slide_close": ([R, U, Q, LENGTH, SIGN], {}, [slide_solution()],
                        "Way along the slide that closes the loop."),
        "slide_point_rate": ([P, U, T, d["p"], d["u"], d_t], {},
                             [rate(k, _rates(P, U, T)) for k in P + T * U],
                             "Rate of a point of a sliding body."),
        "slide_rate": ([R, U, Q, LENGTH, T, d["r"], d["u"], d["q"], d_length], {},
                       [slide_rate()], "Rate of the slide that keeps the loop closed."),
        "turn_margin": ([R, C, U, E], {"x": R - C}, [margin()],
                        "Sine of the over-centre margin of a rod along e, signed."),
        "slide_margin": ([U, E], {}, [U.dot(E) / sp.sqrt(E.dot(E))],
                         "Sine of the over-centre margin of a rod along e on a slide, signed."),
    }


def printed() -> str:
    """Text of `kernels.py`."""
    return "\n\n".join([HEADER, *(_function(name, *kernel) for name, kernel in kernels().items())])


def _function(name, arguments, shorthands, results, says) -> str:
    names, lines = [], []
    for argument in arguments:
        if isinstance(argument, sp.Matrix):
            names.append(argument[0].name.removesuffix("_x"))
            lines.append(f"{', '.join(s.name for s in argument)} = {names[-1]}")
        else:
            names.append(argument.name)
    for word, meaning in shorthands.items():
        lines += [f"{word}_{axis} = {_code(value)}"
                  for axis, value in zip("xyz", meaning, strict=True)]
    shared, reduced = sp.cse(results, symbols=sp.numbered_symbols("k"), order="none")
    lines += [f"{symbol} = {_code(value)}" for symbol, value in shared]
    ends = ", ".join(_code(value) for value in reduced)
    lines.append(f"return {ends}")
    body = "\n".join(f"    {line}" for line in lines)
    return f'def {name}({", ".join(names)}):\n    """{says}"""\n{body}\n'


def _code(value) -> str:
    return sp.pycode(value, fully_qualified_modules=False).replace("math.", "").replace(
        "sqrt(", "np.sqrt(")


def write_kernels() -> Path:
    """Write `kernels.py` beside this file."""
    path = Path(__file__).with_name("kernels.py")
    path.write_text(printed(), encoding="utf-8")
    return path


if __name__ == "__main__":
    write_kernels()
