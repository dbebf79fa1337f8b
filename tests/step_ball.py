"""A STEP file of a ball, written by hand after ISO 10303-21 and -214 (from memory)."""


def step_ball(radius, unit=".MILLI.,.METRE."):
    """Text of a solid ball about [0, 0, 0]."""
    length = f"( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT({unit}) )"
    rows = [
        "APPLICATION_CONTEXT('automotive design')",
        "APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,#1)",
        "PRODUCT_CONTEXT('',#1,'mechanical')", "PRODUCT('ball','ball','',(#3))",
        "PRODUCT_DEFINITION_FORMATION('','',#4)",
        "PRODUCT_DEFINITION_CONTEXT('part definition',#1,'design')",
        "PRODUCT_DEFINITION('design','',#5,#6)", "PRODUCT_DEFINITION_SHAPE('','',#7)",
        length, "( NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.) )",
        "( NAMED_UNIT(*) SI_UNIT($,.STERADIAN.) SOLID_ANGLE_UNIT() )",
        "UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-07),#9,'distance_accuracy_value','')",
        "( GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#12)) "
        "GLOBAL_UNIT_ASSIGNED_CONTEXT((#9,#10,#11)) REPRESENTATION_CONTEXT('','3D') )",
        "CARTESIAN_POINT('',(0.,0.,0.))", "DIRECTION('',(0.,0.,1.))", "DIRECTION('',(1.,0.,0.))",
        "AXIS2_PLACEMENT_3D('',#14,#15,#16)", f"SPHERICAL_SURFACE('',#17,{radius:.6f})",
        f"CARTESIAN_POINT('',(0.,0.,{-radius:.6f}))", "VERTEX_POINT('',#19)",
        "VERTEX_LOOP('',#20)", "FACE_BOUND('',#21,.T.)", "ADVANCED_FACE('',(#22),#18,.T.)",
        "CLOSED_SHELL('',(#23))", "MANIFOLD_SOLID_BREP('ball',#24)",
        "ADVANCED_BREP_SHAPE_REPRESENTATION('',(#17,#25),#13)",
        "SHAPE_DEFINITION_REPRESENTATION(#8,#26)"]
    data = "\n".join(f"#{k} = {row};" for k, row in enumerate(rows, 1))
    return ("ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
            "FILE_NAME('','',(''),(''),'','','');\nFILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\n"
            f"DATA;\n{data}\nENDSEC;\nEND-ISO-10303-21;\n")
