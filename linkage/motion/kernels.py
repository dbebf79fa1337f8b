"""Closed forms of a joint and a rod, written by ``python -m linkage.motion.symbolic``.

Every argument is a number, an array, a complex array or an enclosure over a cell of travel;
points are tuples of three.  `theta` is the turn about the axis, `t` the way along the slide.
"""

import numpy as np


def turn_point(p, c, u, cos, sin):
    """Place of a point of a turned body."""
    p_x, p_y, p_z = p
    c_x, c_y, c_z = c
    u_x, u_y, u_z = u
    x_x = -c_x + p_x
    x_y = -c_y + p_y
    x_z = -c_z + p_z
    k0 = u_x*x_x + u_y*x_y + u_z*x_z
    k1 = k0*u_x
    k2 = k0*u_y
    k3 = k0*u_z
    return c_x + cos*(-k1 + x_x) + k1 + sin*(u_y*x_z - u_z*x_y), c_y + cos*(-k2 + x_y) + k2 + sin*(-u_x*x_z + u_z*x_x), c_z + cos*(-k3 + x_z) + k3 + sin*(u_x*x_y - u_y*x_x)


def turn_parts(r, c, u, q, length):
    """A, B and C of the closure A cos theta + B sin theta = C."""
    r_x, r_y, r_z = r
    c_x, c_y, c_z = c
    u_x, u_y, u_z = u
    q_x, q_y, q_z = q
    x_x = -c_x + r_x
    x_y = -c_y + r_y
    x_z = -c_z + r_z
    y_x = -c_x + q_x
    y_y = -c_y + q_y
    y_z = -c_z + q_z
    k0 = u_x*x_x + u_y*x_y + u_z*x_z
    k1 = k0*u_x
    k2 = -k1 + x_x
    k3 = -k1 + y_x
    k4 = 2*k3
    k5 = k0*u_y
    k6 = -k5 + x_y
    k7 = -k5 + y_y
    k8 = 2*k7
    k9 = k0*u_z
    k10 = -k9 + x_z
    k11 = -k9 + y_z
    k12 = 2*k11
    return k10*k12 + k2*k4 + k6*k8, k12*(u_x*x_y - u_y*x_x) + k4*(u_y*x_z - u_z*x_y) + k8*(-u_x*x_z + u_z*x_x), k10**2 + k11**2 + k2**2 + k3**2 + k6**2 + k7**2 - length**2


def turn_close(a, b, c, sign):
    """Cos and sin of the turn that closes the loop."""
    k0 = a**2 + b**2
    k1 = 1/k0
    k2 = np.sqrt(k0)
    k3 = sign*np.sqrt((-c + k2)*(c + k2))
    return k1*(a*c + b*k3), k1*(-a*k3 + b*c)


def turn_point_rate(p, c, u, cos, sin, d_p, d_c, d_u, d_theta):
    """Rate of a point of a turned body."""
    p_x, p_y, p_z = p
    c_x, c_y, c_z = c
    u_x, u_y, u_z = u
    d_p_x, d_p_y, d_p_z = d_p
    d_c_x, d_c_y, d_c_z = d_c
    d_u_x, d_u_y, d_u_z = d_u
    x_x = -c_x + p_x
    x_y = -c_y + p_y
    x_z = -c_z + p_z
    d_x_x = -d_c_x + d_p_x
    d_x_y = -d_c_y + d_p_y
    d_x_z = -d_c_z + d_p_z
    k0 = u_y*x_z
    k1 = u_z*x_y
    k2 = -k1
    k3 = u_x*x_x
    k4 = u_y*x_y
    k5 = u_z*x_z
    k6 = k4 + k5
    k7 = k3 + k6
    k8 = 2*k3 + k6
    k9 = sin*x_z
    k10 = u_x*x_y
    k11 = sin*x_y
    k12 = u_x*x_z
    k13 = u_x**2
    k14 = sin*u_z
    k15 = u_x*u_y
    k16 = cos*k15
    k17 = sin*u_y
    k18 = u_x*u_z
    k19 = cos*k18
    k20 = u_y*x_x
    k21 = -k20
    k22 = k3 + 2*k4 + k5
    k23 = sin*x_x
    k24 = u_y**2
    k25 = sin*u_x
    k26 = u_y*u_z
    k27 = cos*k26
    k28 = u_z*x_x
    k29 = k3 + k4 + 2*k5
    k30 = u_z**2
    return d_c_x + d_theta*(cos*(k0 + k2) - sin*(-k7*u_x + x_x)) + d_u_x*(-cos*k8 + k8) + d_u_y*(-cos*k10 + k10 + k9) + d_u_z*(-cos*k12 - k11 + k12) + d_x_x*(cos*(1 - k13) + k13) + d_x_y*(-k14 - k16 + u_x*u_y) + d_x_z*(k17 + k18 - k19), d_c_y + d_theta*(cos*(-k12 + u_z*x_x) - sin*(-k7*u_y + x_y)) + d_u_x*(-cos*k20 - k21 - k9) + d_u_y*(-cos*k22 + k22) + d_u_z*(-cos*k0 + k0 + k23) + d_x_x*(k14 + k15 - k16) + d_x_y*(cos*(1 - k24) + k24) + d_x_z*(-k25 - k27 + u_y*u_z), d_c_z + d_theta*(cos*(k10 + k21) - sin*(-k7*u_z + x_z)) + d_u_x*(-cos*k28 + k11 + k28) + d_u_y*(-cos*k1 - k2 - k23) + d_u_z*(-cos*k29 + k29) + d_x_x*(-k17 - k19 + u_x*u_z) + d_x_y*(k25 + k26 - k27) + d_x_z*(cos*(1 - k30) + k30)


def turn_rate(r, c, u, q, length, cos, sin, d_r, d_c, d_u, d_q, d_length):
    """Rate of the turn that keeps the loop closed."""
    r_x, r_y, r_z = r
    c_x, c_y, c_z = c
    u_x, u_y, u_z = u
    q_x, q_y, q_z = q
    d_r_x, d_r_y, d_r_z = d_r
    d_c_x, d_c_y, d_c_z = d_c
    d_u_x, d_u_y, d_u_z = d_u
    d_q_x, d_q_y, d_q_z = d_q
    x_x = -c_x + r_x
    x_y = -c_y + r_y
    x_z = -c_z + r_z
    y_x = -c_x + q_x
    y_y = -c_y + q_y
    y_z = -c_z + q_z
    d_x_x = -d_c_x + d_r_x
    d_x_y = -d_c_y + d_r_y
    d_x_z = -d_c_z + d_r_z
    d_y_x = -d_c_x + d_q_x
    d_y_y = -d_c_y + d_q_y
    d_y_z = -d_c_z + d_q_z
    k0 = u_x*x_x
    k1 = u_y*x_y
    k2 = u_z*x_z
    k3 = k1 + k2
    k4 = k0 + k3
    k5 = k4*u_x
    k6 = -k5 + x_x
    k7 = 2*sin
    k8 = u_y*x_z
    k9 = u_z*x_y
    k10 = k8 - k9
    k11 = 2*cos
    k12 = cos*k6
    k13 = k10*sin
    k14 = k12 + k13 + k5 - y_x
    k15 = k4*u_y
    k16 = -k15 + x_y
    k17 = u_x*x_z
    k18 = -k17 + u_z*x_x
    k19 = cos*k16
    k20 = k18*sin
    k21 = k15 + k19 + k20 - y_y
    k22 = k4*u_z
    k23 = -k22 + x_z
    k24 = u_x*x_y
    k25 = u_y*x_x
    k26 = k24 - k25
    k27 = cos*k23
    k28 = k26*sin
    k29 = k22 + k27 + k28 - y_z
    k30 = k7*x_z
    k31 = k7*x_y
    k32 = u_z*x_x
    k33 = 2*k0
    k34 = 2*k1
    k35 = 2*k2
    k36 = k7*x_x
    k37 = u_x**2
    k38 = k7*u_y
    k39 = k11*u_x
    k40 = k39*u_z
    k41 = k7*u_z
    k42 = 2*u_x
    k43 = k39*u_y
    k44 = u_y**2
    k45 = k7*u_x
    k46 = u_y*u_z
    k47 = k11*k46
    k48 = u_z**2
    return (2*d_length*length - d_u_x*(k14*(4*k0 + k11*(-k3 - k33) + k34 + k35) + k21*(-k11*k25 - k30 + 2*u_y*x_x) + k29*(-k11*k32 + k31 + 2*k32)) - d_u_y*(k14*(-k11*k24 + 2*k24 + k30) + k21*(4*k1 + k11*(-k0 - k2 - k34) + k33 + k35) + k29*(-k11*k9 - k36 + 2*u_z*x_y)) - d_u_z*(k14*(-k11*k17 - k31 + 2*u_x*x_z) + k21*(-k11*k8 + k36 + 2*k8) + k29*(k11*(-k0 - k1 - k35) + 4*k2 + k33 + k34)) - d_x_x*(k14*(k11*(1 - k37) + 2*k37) + k21*(k41 + k42*u_y - k43) + k29*(-k38 - k40 + 2*u_x*u_z)) - d_x_y*(k14*(-k41 - k43 + 2*u_x*u_y) + k21*(k11*(1 - k44) + 2*k44) + k29*(k45 + 2*k46 - k47)) - d_x_z*(k14*(k38 - k40 + k42*u_z) + k21*(-k45 - k47 + 2*u_y*u_z) + k29*(k11*(1 - k48) + 2*k48)) - d_y_x*(-2*k12 - 2*k13 - 2*k5 + 2*y_x) - d_y_y*(-2*k15 - 2*k19 - 2*k20 + 2*y_y) - d_y_z*(-2*k22 - 2*k27 - 2*k28 + 2*y_z))/(k14*(k10*k11 - k6*k7) + k21*(k11*k18 - k16*k7) + k29*(k11*k26 - k23*k7))


def slide_point(p, u, t):
    """Place of a point of a sliding body."""
    p_x, p_y, p_z = p
    u_x, u_y, u_z = u
    return p_x + t*u_x, p_y + t*u_y, p_z + t*u_z


def slide_lead(r, u, q):
    """Distance of the far end ahead of the near one along the slide."""
    r_x, r_y, r_z = r
    u_x, u_y, u_z = u
    q_x, q_y, q_z = q
    return u_x*(q_x - r_x) + u_y*(q_y - r_y) + u_z*(q_z - r_z)


def slide_close(r, u, q, length, sign):
    """Way along the slide that closes the loop."""
    r_x, r_y, r_z = r
    u_x, u_y, u_z = u
    q_x, q_y, q_z = q
    k0 = u_x*(q_x - r_x) + u_y*(q_y - r_y) + u_z*(q_z - r_z)
    return k0 - sign*np.sqrt(length**2 - (-k0*u_x + q_x - r_x)**2 - (-k0*u_y + q_y - r_y)**2 - (-k0*u_z + q_z - r_z)**2)


def slide_point_rate(p, u, t, d_p, d_u, d_t):
    """Rate of a point of a sliding body."""
    p_x, p_y, p_z = p
    u_x, u_y, u_z = u
    d_p_x, d_p_y, d_p_z = d_p
    d_u_x, d_u_y, d_u_z = d_u
    return d_p_x + d_t*u_x + d_u_x*t, d_p_y + d_t*u_y + d_u_y*t, d_p_z + d_t*u_z + d_u_z*t


def slide_rate(r, u, q, length, t, d_r, d_u, d_q, d_length):
    """Rate of the slide that keeps the loop closed."""
    r_x, r_y, r_z = r
    u_x, u_y, u_z = u
    q_x, q_y, q_z = q
    d_r_x, d_r_y, d_r_z = d_r
    d_u_x, d_u_y, d_u_z = d_u
    d_q_x, d_q_y, d_q_z = d_q
    k0 = t*u_x
    k1 = 2*k0 - 2*q_x + 2*r_x
    k2 = t*u_y
    k3 = 2*k2 - 2*q_y + 2*r_y
    k4 = t*u_z
    k5 = 2*k4 - 2*q_z + 2*r_z
    k6 = 2*k0 - 2*q_x + 2*r_x
    k7 = 2*k2 - 2*q_y + 2*r_y
    k8 = 2*k4 - 2*q_z + 2*r_z
    return (2*d_length*length + d_q_x*k6 + d_q_y*k7 + d_q_z*k8 - d_r_x*k6 - d_r_y*k7 - d_r_z*k8 - d_u_x*k1*t - d_u_y*k3*t - d_u_z*k5*t)/(k1*u_x + k3*u_y + k5*u_z)


def turn_margin(r, c, u, e):
    """Sine of the over-centre margin of a rod along e, signed."""
    r_x, r_y, r_z = r
    c_x, c_y, c_z = c
    u_x, u_y, u_z = u
    e_x, e_y, e_z = e
    x_x = -c_x + r_x
    x_y = -c_y + r_y
    x_z = -c_z + r_z
    k0 = u_x*x_x + u_y*x_y + u_z*x_z
    return (u_x*(-e_y*x_z + e_z*x_y) + u_y*(e_x*x_z - e_z*x_x) + u_z*(-e_x*x_y + e_y*x_x))/(np.sqrt(e_x**2 + e_y**2 + e_z**2)*np.sqrt((-k0*u_x + x_x)**2 + (-k0*u_y + x_y)**2 + (-k0*u_z + x_z)**2))


def slide_margin(u, e):
    """Sine of the over-centre margin of a rod along e on a slide, signed."""
    u_x, u_y, u_z = u
    e_x, e_y, e_z = e
    return (e_x*u_x + e_y*u_y + e_z*u_z)/np.sqrt(e_x**2 + e_y**2 + e_z**2)
