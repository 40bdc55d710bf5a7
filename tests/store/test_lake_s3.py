"""The lake in an object store: a server that speaks S3 on loopback (moto's), with its keys in the environment."""

from collections.abc import Iterator
from typing import Any

import boto3
import pytest
from moto.server import ThreadedMotoServer
from polars.testing import assert_frame_equal

from nightgauge.errors import NightgaugeError
from nightgauge.store import Store

BUCKET = "samples-of-trials"


@pytest.fixture(scope="module")
def _s3() -> Iterator[None]:
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    with pytest.MonkeyPatch.context() as environment:
        for name, value in {
            "AWS_ENDPOINT_URL": f"http://{host}:{port}",
            "AWS_ACCESS_KEY_ID": "invented",
            "AWS_SECRET_ACCESS_KEY": "invented",
            "AWS_DEFAULT_REGION": "us-east-1",
            "NO_PROXY": "127.0.0.1",
        }.items():
            environment.setenv(name, value)
        boto3.client("s3").create_bucket(Bucket=BUCKET)
        yield
    server.stop()


@pytest.mark.usefixtures("_s3")
def test_a_lake_in_an_object_store_keeps_what_the_table_keeps(store: Store, tmp_path: Any, make: Any) -> None:
    far = Store(tmp_path / "far.duckdb")
    with far.writing() as writer:
        writer.sync_home(make.field(samples="lake", lake=f"s3://{BUCKET}/lake"))
        writer.sync_tags(make.field(), make.read_at)
    history = [(tag, float(minute), tag + minute / 7, "good") for tag in (1, 2, 4) for minute in range(0, 4000, 100)]
    corrected = [(1, 100.0, 9.0, "uncertain"), (1, 1500.0, None, "bad"), (4, 100.0, 4 + 100 / 7, "good")]
    for number, rows in enumerate((history, corrected, history[:20])):
        counts = []
        for each in (store, far):
            with each.writing() as writer:
                counts.append(writer.land(make.export(f"{number}.csv"), make.parsed(rows), make.read_at))
        assert counts[0] == counts[1]
    with store.reading() as near, far.reading() as there:
        for vessel in ("V-1", "V-2"):
            span = make.at(0), make.at(9999)
            assert_frame_equal(near.vessel_samples(vessel, *span), there.vessel_samples(vessel, *span))
        names = there._con.sql("SELECT name FROM lake_part ORDER BY name").fetchall()
    listed = boto3.client("s3").list_objects_v2(Bucket=BUCKET)["Contents"]
    assert len(listed) == len(names) == 3  # one object a day: what was corrected is gone, and so are the marks
    assert all(name in one["Key"] for (name,), one in zip(names, listed, strict=True))


@pytest.mark.usefixtures("_s3")
def test_a_bucket_that_is_not_there_is_told(tmp_path: Any, make: Any) -> None:
    far = Store(tmp_path / "far.duckdb")

    def land() -> None:
        with far.writing() as writer:
            writer.sync_home(make.field(samples="lake", lake="s3://no-such-bucket/lake"))
            writer.sync_tags(make.field(), make.read_at)
            writer.land(make.export(), make.parsed([(1, 0.0, 1.0, "good")]), make.read_at)

    with pytest.raises(NightgaugeError, match=r"s3://no-such-bucket/lake.*look at `lake` in field\.toml"):
        land()
