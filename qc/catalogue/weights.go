package catalogue

// weights are the standard atomic weights of the elements in units of 0.0001, as
// integers so that molar masses are exact sums: the values abridged to five significant
// digits of T. Prohaska et al., "Standard atomic weights of the elements 2021 (IUPAC
// Technical Report)", Pure Appl. Chem. 2022, 94, 573-600. D is deuterium, whose
// atomic mass of 2.014 101 78 is not among them. Elements without a standard atomic
// weight are left out.
var weights = map[string]int64{
	"H": 10080, "D": 20141, "He": 40026, "Li": 69400, "Be": 90122, "B": 108100, "C": 120110,
	"N": 140070, "O": 159990, "F": 189980, "Ne": 201800, "Na": 229900, "Mg": 243050, "Al": 269820,
	"Si": 280850, "P": 309740, "S": 320600, "Cl": 354500, "Ar": 399500, "K": 390980, "Ca": 400780,
	"Sc": 449560, "Ti": 478670, "V": 509420, "Cr": 519960, "Mn": 549380, "Fe": 558450,
	"Co": 589330, "Ni": 586930, "Cu": 635460, "Zn": 653800, "Ga": 697230, "Ge": 726300,
	"As": 749220, "Se": 789710, "Br": 799040, "Kr": 837980, "Rb": 854680, "Sr": 876200,
	"Y": 889060, "Zr": 912240, "Nb": 929060, "Mo": 959500, "Ru": 1010700, "Rh": 1029100,
	"Pd": 1064200, "Ag": 1078700, "Cd": 1124100, "In": 1148200, "Sn": 1187100, "Sb": 1217600,
	"Te": 1276000, "I": 1269000, "Xe": 1312900, "Cs": 1329100, "Ba": 1373300, "La": 1389100,
	"Ce": 1401200, "Pr": 1409100, "Nd": 1442400, "Sm": 1503600, "Eu": 1519600, "Gd": 1572500,
	"Tb": 1589300, "Dy": 1625000, "Ho": 1649300, "Er": 1672600, "Tm": 1689300, "Yb": 1730500,
	"Lu": 1749700, "Hf": 1784900, "Ta": 1809500, "W": 1838400, "Re": 1862100, "Os": 1902300,
	"Ir": 1922200, "Pt": 1950800, "Au": 1969700, "Hg": 2005900, "Tl": 2043800, "Pb": 2072000,
	"Bi": 2089800, "Th": 2320400, "Pa": 2310400, "U": 2380300,
}
