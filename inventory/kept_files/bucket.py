"""Files in a bucket that speaks S3, for a site of more than one machine."""

import io
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, BinaryIO

from boto3.exceptions import Boto3Error
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError
from django.core.files.base import File
from django.utils.translation import gettext as _
from storages.backends.s3 import S3Storage

from inventory.kept_files.store import StoreAway, StoredFile

# A page waits for a file; what does not answer by then is told, and asked for again by whoever looks again.
CONNECT_S, ANSWER_S, TIMES = 3, 30, 2


class BucketStore(S3Storage):
    """A bucket, or the part of it under ``location``. What is put there is there whole or not at all.

    One client for all threads: making one takes half a second, and it may be shared, as S3Storage's own objects may
    not.
    """

    is_far = True

    def __init__(self, **options: Any) -> None:
        super().__init__(
            client_config=Config(
                signature_version="s3v4",
                # Servers of other makers are reached by one name, whatever the bucket is called.
                s3={"addressing_style": "path" if options.get("endpoint_url") else "auto"},
                connect_timeout=CONNECT_S,
                read_timeout=ANSWER_S,
                retries={"mode": "standard", "max_attempts": TIMES},
            ),
            file_overwrite=True,
            default_acl=None,
            gzip=False,
            **options,
        )
        self._making, self._client = threading.Lock(), None

    @property
    def client(self) -> Any:
        with self._making:
            if self._client is None:
                self._client = self.connection.meta.client
            return self._client

    def put(self, name: str, content: bytes | BinaryIO, *, sync: bool = True) -> None:
        with self._told(name):
            self.client.put_object(**self._place(name), Body=content)

    def read(self, name: str) -> bytes:
        with self._told(name):
            content: bytes = self.client.get_object(**self._place(name))["Body"].read()
            return content

    def delete(self, name: str) -> None:
        with self._told(name):
            self.client.delete_object(**self._place(name))

    def exists(self, name: str) -> bool:
        try:
            self.size(name)
        except FileNotFoundError:
            return False
        return True

    def size(self, name: str) -> int:
        with self._told(name):
            return int(self.client.head_object(**self._place(name))["ContentLength"])

    def under(self, prefix: str = "") -> Iterator[StoredFile]:
        # An address within the bucket that ends with "/" loses it when it is made safe.
        root = f"{self.location.strip('/')}/" if self.location.strip("/") else ""
        with self._told(prefix):
            pages = self.client.get_paginator("list_objects_v2").paginate(
                Bucket=self.bucket_name, Prefix=f"{root}{prefix}"
            )
            for page in pages:
                for each in page.get("Contents", ()):
                    yield StoredFile(each["Key"].removeprefix(root), each["Size"], each["LastModified"])

    def mark_used(self, name: str) -> None:
        """Note nothing: in a bucket that is a file written anew."""

    def in_words(self) -> str:
        if self.endpoint_url:
            return _("the bucket {name} at {address}").format(
                name=self.bucket_name, address=self.endpoint_url
            )
        return _("the bucket {name}").format(name=self.bucket_name)

    def _open(self, name: str, mode: str = "rb") -> File:
        if mode != "rb":
            raise ValueError("A file in a bucket is opened to be read; what is written is put there whole.")
        return File(io.BytesIO(self.read(name)), name)

    def _save(self, name: str, content: Any) -> str:
        self.put(name, content.read())
        return name

    def _place(self, name: str) -> dict[str, str]:
        return {"Bucket": self.bucket_name, "Key": self._normalize_name(name)}

    @contextmanager
    def _told(self, name: str) -> Iterator[None]:
        """Say what went wrong as a file system would."""
        try:
            yield
        except ClientError as problem:
            code = str(problem.response.get("Error", {}).get("Code", ""))
            if code in ("404", "NoSuchKey", "NotFound"):
                raise FileNotFoundError(name) from None
            said = _("{place} does not let it: {problem}")
            raise StoreAway(said.format(place=self.in_words(), problem=problem)) from problem
        except (BotoCoreError, Boto3Error) as problem:
            said = _("{place} does not answer: {problem}")
            raise StoreAway(said.format(place=self.in_words(), problem=problem)) from problem
