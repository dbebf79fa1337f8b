"""A wire that swings with a lever, and a hand that grips it."""



# --- wires ----------------------------------------------------------------------------------------

SWING = """
length = "mm"
[input.pitch]
travel = [-30, 50]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 400], clamp = [0, 0, 120] }
solid.shaft = { kind = "tube", along = ["pivot", "grip"], diameter = 20 }
[airframe]
points = { clamp = [80, 0, 90] }
solid.post = { kind = "tube", along = [[60, -40, 160], [60, 40, 160]], diameter = 10 }
[wire.switch]
clamps = ["stick/clamp", "airframe/clamp"]
diameter = 4
"""


# --- grips ----------------------------------------------------------------------------------------

GRIPPED = SWING.replace('diameter = 20 }', '''diameter = 20 }
[body.stick.grip]
along = [[0, 0, 390], "grip"]
bore = 20
clocking = 30
hand = { kind = "box", corner = [-20, -50, 300], opposite = [60, 30, 380] }''').replace(
    "[60, -40, 160], [60, 40, 160]", "[240, -40, 300], [240, 40, 300]").replace(
    '"pivot", "grip"', '"pivot", [0, 0, 390]')


# --- sheet, tables, picture -------------------------------------------------------------------

BUILT = ("wires", "tolerances")
