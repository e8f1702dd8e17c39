"""A sweep on a Dask cluster comes to the same bytes as one here, whoever is lost meanwhile."""

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from agents.errors import OptionError, WorkError
from arena.studies.plans.study import Study, parse_study
from arena.studies.running import cluster as module
from arena.studies.running import cluster_address
from arena.studies.running.cluster import Cluster
from arena.studies.running.cluster_address import Tls
from arena.studies.running.sweeping import CSV, NPZ, run_sweep
from arena.studies.running.trials import chunk_size, run_chunk
from arena.studies.trial_scores import misfit_of
from tests.helpers.commands import finished, photodrome
from tests.helpers.dask_cluster import OwnCluster, own_cluster

PLAN = {
    "photodrome": "study 1",
    "name": "feelers in the slalom",
    "arenas": ["slalom"],
    "designs": ["poppy"],
    "vary": {"design.both.feeler": "E6 10k..100k"},
    "repeats": 500,
    "lasts": "60 s",
}


def study(**changes: Any) -> Study:
    return parse_study(yaml.safe_dump(PLAN | changes, sort_keys=False))


@pytest.fixture(scope="module")
def cluster() -> Iterator[OwnCluster]:
    """A scheduler with two workers, each a process of its own."""
    with own_cluster() as one:
        yield one


def after(chunks: int, act: Callable[[], object]) -> Callable[[float], None]:
    """Does something once so many chunks are kept."""
    shares: list[float] = []

    def progress(share: float) -> None:
        shares.append(share)
        if len(shares) == chunks:
            act()

    return progress


def stop() -> None:
    raise KeyboardInterrupt


def test_a_worker_killed_half_way_changes_no_byte(cluster: OwnCluster, tmp_path: Path) -> None:
    """Begun here, stopped, and gone on with on two workers, one of which is killed: as on one thread here."""
    here, there = tmp_path / "here", tmp_path / "there"
    run_sweep(study(), here, threads=1)
    with pytest.raises(KeyboardInterrupt):
        run_sweep(study(), there, progress=after(3, stop))
    killed: list[int] = []

    def kill() -> None:
        process = cluster.pids()[0]
        os.kill(process, signal.SIGKILL)
        killed.append(process)

    outcome = run_sweep(study(), there, on=cluster.address, progress=after(4, kill))
    assert killed
    assert 3 * 256 <= outcome.kept < 3500
    for name in (CSV, NPZ):
        assert (here / name).read_bytes() == (there / name).read_bytes()


def test_impossible_settings_are_told_as_they_are_here(cluster: OwnCluster, tmp_path: Path) -> None:
    plan = study(vary={"design.body.radius": "26 mm, 400 mm"}, repeats=20)
    there = run_sweep(plan, tmp_path / "there", on=cluster.address)
    assert there.impossible == run_sweep(plan, tmp_path / "here").impossible
    assert list(there.impossible) == [1]


def test_a_worker_of_another_version_is_told(
    cluster: OwnCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Study.payload

    def payload(self: Study) -> str:
        sent = json.loads(real(self))
        sent["parts"]["program"] = "another"
        return json.dumps(sent)

    monkeypatch.setattr(Study, "payload", payload)
    with pytest.raises(WorkError, match=r"tcp://.*program differ here"):
        run_sweep(study(), tmp_path, on=cluster.address)


def test_a_worker_that_rounds_otherwise_is_told(cluster: OwnCluster) -> None:
    """As one may that joins later, on a machine of another kind."""
    with Cluster(study(), cluster.address) as one:
        one.arithmetic = "another"
        with pytest.raises(WorkError, match="round otherwise"):
            list(one.run_chunks([0, 1]))


def test_all_workers_lost_is_told_and_nothing_with_them(
    cluster: OwnCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE", 1.5)
    monkeypatch.setattr(cluster_address, "ANSWER_TIME", 5.0)
    plan = study(repeats=2000)
    with pytest.raises(WorkError, match="there has been no worker"):
        run_sweep(plan, tmp_path, on=cluster.address, progress=after(2, lambda: cluster.ask("scale 0")))
    with pytest.raises(WorkError, match="has no workers"):
        run_sweep(plan, tmp_path, on=cluster.address)
    assert run_sweep(plan, tmp_path).kept >= 2 * 256


def test_a_scheduler_that_goes_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_address, "ANSWER_TIME", 2.0)
    plan = study(repeats=2000)
    with own_cluster(1) as one, pytest.raises(WorkError, match="goes on from what is kept"):
        run_sweep(plan, tmp_path, on=one.address, progress=after(2, one.kill))
    assert run_sweep(plan, tmp_path).kept >= 2 * 256


def test_a_scheduler_that_cannot_be_reached_is_told_at_once(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        with pytest.raises(WorkError, match=f"{address}: no Dask scheduler can be reached there"):
            run_sweep(study(), tmp_path, on=address)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "address",
    [
        *("", "shed", "tcp://", "tcp://shed", "tcp://shed:nought", "tcp://shed:99999", "post://shed:8786"),
        *(f"tcp://{'s' * 300}:8786", "tcp://shed..:8786", "tcp://a:b@shed:8786", "tcp://shed:8786/pots?x=1"),
        *("tcp://sh\x1b[2Jed:8786", "tcp://[::1:8786"),
    ],
)
def test_what_is_no_address_is_told(address: str, tmp_path: Path) -> None:
    with pytest.raises(OptionError, match="no address of a scheduler"):
        run_sweep(study(), tmp_path, on=address)


def test_the_package_that_is_lacking_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(OptionError, match=r"pip install 'photodrome\[cluster\]'"):
        run_sweep(study(), tmp_path, on="tcp://127.0.0.1:8786")


# What other programs say to whoever connects, or do not say.
STRANGERS = {
    "a web server": b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n",
    "a shell": b"SSH-2.0-OpenSSH_9.6\r\n",
    "noise": bytes(range(255, 100, -1)),
    "huge": (2**40).to_bytes(8, "little") + (3).to_bytes(8, "little"),
    "one who hangs up": b"",
    "one who begins": b"\x05",
}


@contextlib.contextmanager
def stranger(says: bytes | None) -> Iterator[str]:
    """Something that listens, says this to whoever comes, and hangs up; or says nothing, and does not."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        guests: list[socket.socket] = []

        def serve() -> None:
            with contextlib.suppress(OSError):
                while True:
                    guests.append(listening.accept()[0])
                    if says is not None:
                        guests[-1].sendall(says)
                        guests[-1].close()

        threading.Thread(target=serve, daemon=True).start()
        try:
            yield f"tcp://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            listening.shutdown(socket.SHUT_RDWR)
            for one in guests:
                one.close()


@pytest.mark.parametrize("says", STRANGERS.values(), ids=STRANGERS)
def test_what_is_no_scheduler_is_told_in_one_line(says: bytes, tmp_path: Path) -> None:
    with stranger(says) as address:
        outcome = finished("sweep", "eye-spacing", "-o", tmp_path / "out", "--on", address)
    assert outcome.code == 1
    assert outcome.err.count("\n") == 1
    assert outcome.err.startswith(address)
    assert "not a Dask scheduler" in outcome.err or "no Dask scheduler can be reached" in outcome.err


def test_who_says_nothing_is_no_scheduler(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_address, "ANSWER_TIME", 0.5)
    with stranger(None) as address, pytest.raises(WorkError, match="nobody answers there within"):
        run_sweep(study(), tmp_path, on=address)


def test_whoever_asks_in_the_open_is_warned() -> None:
    def warning(address: str) -> str:
        return cluster_address.read_address(address, Tls()).warning

    assert [warning(f"tcp://{one}:8786") for one in ("127.0.0.1", "localhost", "[::1]", "127.9.9.9")] == [
        ""
    ] * 4
    for one in ("10.0.0.5", "shed", "[fe80::1]", "localhost.example"):
        assert "is asked in the open" in warning(f"tcp://{one}:8786")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    outcome = photodrome("sweep", "eye-spacing", "--on", f"tcp://127.0.0.1:{port}")
    assert "in the open" not in outcome.err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--on", "tls://127.0.0.1:8786"), "takes the three files --tls-ca, --tls-cert and --tls-key"),
        (("--on", "tcp://127.0.0.1:8786", "--tls-ca", "a"), "certificates are of use with tls:// only"),
        (("--tls-key", "a"), "are for --on tls://HOST:PORT"),
        (
            ("--on", "tls://127.0.0.1:8786", "--tls-ca", "a", "--tls-cert", "b", "--tls-key", "c"),
            "a: cannot be read",
        ),
    ],
)
def test_certificates_that_are_missing_or_of_no_use_are_told(
    arguments: tuple[str, ...], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    outcome = photodrome("sweep", "eye-spacing", *arguments)
    assert outcome.code == 2
    assert told in outcome.err


def authority(folder: Path, name: str) -> dict[str, Path]:
    """Files of an authority and of a certificate that it has signed, made by OpenSSL."""

    def openssl(*arguments: str | Path) -> None:
        subprocess.run(["openssl", *map(str, arguments)], check=True, capture_output=True, cwd=folder)

    found = {part: folder / f"{name}-{part}.pem" for part in ("ca", "cert", "key")}
    ca_key, request = folder / f"{name}-ca-key.pem", folder / f"{name}.csr"
    new = ("req", "-newkey", "rsa:2048", "-nodes", "-subj")
    openssl(*new, f"/CN={name}", "-x509", "-days", "30", "-keyout", ca_key, "-out", found["ca"])
    openssl(*new, f"/CN={name} pots", "-keyout", found["key"], "-out", request)
    signed = ("-CA", found["ca"], "-CAkey", ca_key, "-CAcreateserial", "-days", "30")
    openssl("x509", "-req", "-in", request, *signed, "-out", found["cert"])
    return found


@pytest.mark.skipif(shutil.which("openssl") is None, reason="OpenSSL makes the certificates")
def test_a_cluster_over_tls(tmp_path: Path) -> None:
    """The same bytes, and no talk with whoever has another authority, or none."""
    ours, others = authority(tmp_path, "ours"), authority(tmp_path, "others")
    plan = study(repeats=100)
    files = {"tls_ca_file": ours["ca"], "tls_scheduler_cert": ours["cert"], "tls_scheduler_key": ours["key"]}
    files |= {"tls_worker_cert": ours["cert"], "tls_worker_key": ours["key"]}
    files |= {"tls_client_cert": ours["cert"], "tls_client_key": ours["key"]}
    with own_cluster(1, **files) as one:
        assert one.address.startswith("tls://")
        run_sweep(plan, tmp_path / "there", on=one.address, tls=Tls(**ours))
        with pytest.raises(WorkError, match="no connection that both sides trust"):
            Cluster(plan, one.address, Tls(**others))
        with pytest.raises(WorkError, match=r"nobody answers|no Dask scheduler|not a Dask scheduler"):
            Cluster(plan, one.address.replace("tls", "tcp"))
    with pytest.raises(OptionError, match="are no certificate"):
        Cluster(plan, one.address, Tls(ours["ca"], ours["cert"], others["key"]))
    with pytest.raises(OptionError, match="holds no certificates of an authority"):
        Cluster(plan, one.address, Tls(ours["key"], ours["cert"], ours["key"]))
    run_sweep(plan, tmp_path / "here")
    for name in (CSV, NPZ):
        assert (tmp_path / "here" / name).read_bytes() == (tmp_path / "there" / name).read_bytes()


# Runs in a worker before it works, and has it say something else: what a file says that is read each time.
DOCTORED = """
import os
import numpy as np
from arena.studies.running import cluster_worker
from arena.studies.trial_scores import TRIAL

# it may be run twice in one process
real = getattr(cluster_worker, "real", cluster_worker.chunk)
cluster_worker.real = real

class Evil(Exception):
    def __reduce__(self):
        return exec, ("import os; open({mark!r}, 'a').write(str(os.getpid()) + ' ')",)

def says(payload, number, wanted):
    rows = np.frombuffer(real(payload, number, wanted)[1:], TRIAL).copy()
    found = dict(rows=rows, said=None, np=np, Evil=Evil)
    exec(open({change!r}).read(), found)
    return b"R" + found["rows"].tobytes() if found["said"] is None else found["said"]

cluster_worker.chunk = says
"""


@pytest.fixture(scope="module")
def doctored(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[OwnCluster, Path]]:
    """A cluster with a doctored worker, and the folder with what it is to say."""
    folder = tmp_path_factory.mktemp("doctored")
    files = {name: str(folder / name) for name in ("mark", "change")}
    (folder / "doctored.py").write_text(DOCTORED.format(**files))
    with own_cluster(1, folder / "doctored.py") as one:
        yield one, folder


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("said = Evil()", "the cluster gave up a chunk"),
        ("raise Evil()", "the cluster gave up a chunk"),
        ("said = {'rows': [Evil()]}", "the cluster gave up a chunk"),
        ("said = [1, 2]", "said what no worker of photodrome says"),
        ("rows = rows[:-1]", "not as many as they should be"),
        ("rows = np.concatenate([rows] * 100)", "said what no worker of photodrome says"),
        ("rows['trial'] += 1", "cannot be: their numbers"),
        ("rows['pulses'][3] = -1.0", "cannot be: pulses"),
        ("rows['reached'][5] = 1.5", "cannot be: reached"),
        ("rows['stuck_s'][0] = np.inf", "cannot be: stuck_s"),
    ],
)
def test_a_doctored_worker_runs_nothing_here(
    change: str, told: str, doctored: tuple[OwnCluster, Path], tmp_path: Path
) -> None:
    """It is told, nothing of it is kept, and no command of its is run on this side."""
    cluster, folder = doctored
    (folder / "change").write_text(change)
    plan = study(repeats=30)
    with pytest.raises(WorkError, match=told):
        run_sweep(plan, tmp_path / "out", on=cluster.address)
    # a worker unpickles its own errors, to see whether that can be done
    mark = folder / "mark"
    assert not mark.exists() or str(os.getpid()) not in mark.read_text().split()
    assert run_sweep(plan, tmp_path / "out").kept == 0


def test_chunks_that_are_given_up_are_handed_in_again(
    doctored: tuple[OwnCluster, Path], tmp_path: Path
) -> None:
    """Three times one ends in an error, as after lost workers: nothing is told, and no byte is another."""
    cluster, folder = doctored
    calls = folder / "calls"
    (folder / "change").write_text(
        f"""
with open({str(calls)!r}, "a+") as kept:
    kept.write("x")
    kept.seek(0)
    if len(kept.read()) in (1, 2, 5):
        raise ValueError("lost")
"""
    )
    plan = study(repeats=100)
    assert run_sweep(plan, tmp_path / "there", on=cluster.address).kept == 0
    assert len(calls.read_text()) == -(-plan.trials // chunk_size(plan)) + 3
    run_sweep(plan, tmp_path / "here")
    assert (tmp_path / "there" / CSV).read_bytes() == (tmp_path / "here" / CSV).read_bytes()


def test_rows_that_can_be_are_taken() -> None:
    plan = study(repeats=30)
    rows = run_chunk(plan, 0)
    assert misfit_of(rows, 0) == ""
    assert misfit_of(rows[5:], 5) == ""
    assert misfit_of(rows, 1) == "their numbers"
    changed = rows.copy()
    changed["impossible"][0] = 0.5
    assert misfit_of(changed, 0) == "impossible"
    changed = rows.copy()
    changed["escapes"][2] = changed["contacts"][2] + 1.0
    assert misfit_of(changed, 0) == "escapes"
    assert np.isnan(rows["shade_escapes"]).sum() == 0
