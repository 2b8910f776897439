"""Import as a person goes through it: look at what a file would do, then let it happen, all or nothing."""

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from django.db import IntegrityError, transaction

from inventory.compute.errors import WorkshopError
from inventory.importing.catalogue import save_drafts, tell_drafts
from inventory.importing.cells import guarded, shown
from inventory.importing.forms import BobbinForm, RowForm, ShadeForm, SpoolForm, StabilizerForm, SupplierForm, columns_of
from inventory.importing.items import plan_bobbins, plan_spools, plan_stabilizer
from inventory.importing.plan import Plan
from inventory.importing.rows import Problem, Progress, Row, check_rows
from inventory.importing.shades import plan_shades
from inventory.importing.stock import land
from inventory.importing.suppliers import plan_suppliers
from inventory.importing.tables import REASON_COLUMN, Table, read_table
from inventory.models import Place
