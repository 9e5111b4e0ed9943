"""A shelf in any store that speaks the S3 protocol, for servers on several machines.

The address is `s3://bucket/prefix?endpoint=https://host&region=name`; keys come the way the client library knows them
(AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, a profile, or the machine's role). The library is the extra `s3`.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import parse_qs, urlsplit

from webapp.store.refusals import Away

try:
    import boto3
    from botocore.config import Config
    from botocore.exceptions import BotoCoreError, ClientError
except ImportError:  # an extra: most servers keep their photos on their own disk
    boto3 = None

ABSENT = ("404", "NoSuchKey", "NotFound")


@contextmanager
def plain_trouble() -> Iterator[None]:
    try:
        yield
    except (BotoCoreError, ClientError) as error:
        raise Away("photos", f"photos: their store cannot be used just now ({str(error)[:200]})") from error


class Bucket:
    """One bucket, or a part of one."""

    def __init__(self, address: str):
        parts = urlsplit(address)
        options = {name: values[0] for name, values in parse_qs(parts.query).items()}
        self.bucket, self.prefix = parts.netloc, parts.path.strip("/")
        patient = Config(connect_timeout=5, read_timeout=30, retries={"max_attempts": 3, "mode": "standard"})
        self.client = boto3.client(
            "s3", endpoint_url=options.get("endpoint"), region_name=options.get("region"), config=patient
        )

    def place(self, *parts: str) -> str:
        return "/".join(part for part in (self.prefix, *parts) if part)

    def write(self, key: str, data: bytes) -> None:
        with plain_trouble():
            self.client.put_object(Bucket=self.bucket, Key=self.place(key), Body=data)

    def read(self, key: str) -> bytes | None:
        with plain_trouble():
            try:
                return self.client.get_object(Bucket=self.bucket, Key=self.place(key))["Body"].read()
            except ClientError as error:
                if error.response["Error"]["Code"] in ABSENT:
                    return None
                raise

    def list_keys(self, prefix: str) -> list[str]:
        return sorted(self.name(row) for row in self.list_rows(prefix))

    def list_ages(self, prefix: str) -> dict[str, float]:
        moment = time.time()
        return {self.name(row): moment - row["LastModified"].timestamp() for row in self.list_rows(prefix)}

    def list_rows(self, prefix: str) -> list[dict]:
        start = self.place(prefix) + "/" if self.place(prefix) else ""
        with plain_trouble():
            pages = self.client.get_paginator("list_objects_v2").paginate(Bucket=self.bucket, Prefix=start)
            return [row for page in pages for row in page.get("Contents", [])]

    def name(self, row: dict) -> str:
        return row["Key"][len(self.prefix) + 1 :] if self.prefix else row["Key"]

    def remove(self, key: str) -> None:
        with plain_trouble():
            self.client.delete_object(Bucket=self.bucket, Key=self.place(key))
