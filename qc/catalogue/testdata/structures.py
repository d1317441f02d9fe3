"""Compute Hill formula and InChIKey of each structure.

Reads CSV with the columns name and smiles from standard input, writes CSV with the
columns name, formula and inchikey to standard output. Needs RDKit; where RDKit was
built without InChI, the InChI program (inchi_main or inchi-1) from PATH computes the
keys. Exits with status 3 and one line on standard error when something is missing.
"""
import csv
import shutil
import subprocess
import sys
import tempfile

try:
    from rdkit import Chem, RDLogger
    from rdkit.Chem import inchi
    from rdkit.Chem.rdMolDescriptors import CalcMolFormula
except ImportError:
    sys.exit(print("RDKit cannot be imported", file=sys.stderr) or 3)

RDLogger.DisableLog("rdApp.warning")
PROGRAM = shutil.which("inchi_main") or shutil.which("inchi-1")


def key_by_program(mol):
    with tempfile.TemporaryDirectory() as folder:
        path = folder + "/structure.mol"
        with open(path, "w", encoding="ascii") as f:
            f.write(Chem.MolToMolBlock(mol))
        subprocess.run([PROGRAM, path, folder + "/out", folder + "/log", folder + "/problems", "-Key", "-NoLabels"],
                       check=True, capture_output=True)
        with open(folder + "/out", encoding="ascii") as f:
            for line in f:
                if line.startswith("InChIKey="):
                    return line.strip().removeprefix("InChIKey=")
    raise ValueError("the InChI program gave no key")


def main():
    if not inchi.INCHI_AVAILABLE and not PROGRAM:
        sys.exit(print("neither RDKit's InChI nor an InChI program is there", file=sys.stderr) or 3)
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(["name", "formula", "inchikey"])
    for row in csv.DictReader(sys.stdin):
        mol = Chem.MolFromSmiles(row["smiles"])
        if mol is None:
            raise ValueError(f"{row['name']}: not SMILES: {row['smiles']}")
        formula = CalcMolFormula(mol, separateIsotopes=True, abbreviateHIsotopes=True)
        key = inchi.MolToInchiKey(mol) if inchi.INCHI_AVAILABLE else key_by_program(mol)
        out.writerow([row["name"], formula, key])


main()
