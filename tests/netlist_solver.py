"""Node equations for the lines of a netlist: R, L, C, K, V and E, subcircuits laid out flat. No simulator needed."""

import numpy as np


def laid_out(lines):
    """Elements as lists of words; a subcircuit's own nodes and parts get the name of its call in front."""
    plain, bodies, name = [], {}, ""
    for line in lines:
        words = line.split()
        if not words or (line[0] in "*." and words[0] not in (".subckt", ".ends")):
            continue
        if words[0] == ".subckt":
            name = words[1]
            bodies[name] = (words[2:], [])
        elif words[0] == ".ends":
            name = ""
        elif name:
            bodies[name][1].append(words)
        else:
            plain.append(words)
    for call in [words for words in plain if words[0][0] == "X"]:
        plain.remove(call)
        inside, body = bodies[call[-1]]
        nodes = dict(zip(inside, call[1:-1], strict=True)) | {"0": "0"}
        for words in body:
            n_nodes = {"E": 4, "K": 0}.get(words[0][0], 2)
            own = [nodes.get(node, f"{call[0]}.{node}") for node in words[1 : 1 + n_nodes]]
            rest = [f"{call[0]}.{one}" for one in words[1:3]] + words[3:] if words[0][0] == "K" else words[1 + n_nodes :]
            kind = words[0][0]
            plain.append([f"{call[0]}.{words[0]}", *own, *rest] if kind != "K" else ["K", *rest])
    return plain


def kind_of(words):
    return words[0].rpartition(".")[2][0]


def solve(lines, frequency_hz, node):
    """Voltage of a node at each frequency. [V]"""
    parts = laid_out(lines)
    nodes = sorted({end for words in parts if kind_of(words) in "RLCVE" for end in words[1:3]} - {"0"})
    place = {name: index for index, name in enumerate(nodes)} | {"0": -1}
    currents = [words for words in parts if kind_of(words) in "LVE"]
    row_of = {words[0]: len(nodes) + index for index, words in enumerate(currents)}
    size, out = len(nodes) + len(currents), []
    for hz in frequency_hz:
        s = 2j * np.pi * hz
        matrix, right = np.zeros((size + 1, size + 1), dtype=complex), np.zeros(size, dtype=complex)  # the last row is ground
        for words in parts:
            kind = kind_of(words)
            if kind == "K":
                first, second = (row_of[one] for one in words[1:3])
                henry = {words_l[0]: float(words_l[3]) for words_l in currents if kind_of(words_l) == "L"}
                mutual = float(words[3]) * np.sqrt(henry[words[1]] * henry[words[2]])
                matrix[first, second] -= s * mutual
                matrix[second, first] -= s * mutual
                continue
            a, b = place[words[1]], place[words[2]]
            if kind in "RC":
                admittance = 1 / float(words[3]) if kind == "R" else s * float(words[3])
                matrix[[a, b], [a, b]] += admittance
                matrix[a, b] -= admittance
                matrix[b, a] -= admittance
                continue
            row = row_of[words[0]]
            matrix[a, row] += 1
            matrix[b, row] -= 1
            matrix[row, a] += 1
            matrix[row, b] -= 1
            if kind == "L":
                matrix[row, row] -= s * float(words[3])
            elif kind == "V":
                right[row] = float(words[-1])
            else:
                matrix[row, place[words[3]]] -= float(words[5])
                matrix[row, place[words[4]]] += float(words[5])
        out.append(np.linalg.solve(matrix[:size, :size], right)[place[node]])
    return np.array(out)
