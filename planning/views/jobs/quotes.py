"""The quote for a job: how its price is made, and the page that is sent."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.compute.errors import WorkshopError
from planning.jobs.forms import QuoteForm
from planning.jobs.quotes import quote_of, quote_pdf, usual_terms
from planning.models import Job, Rules


@require_safe
def quote(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a job is offered at, by the rules or by what the address says."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    terms = usual_terms(Rules.current())
    form = QuoteForm(request.GET if request.GET else None, usual=terms)
    as_pdf = request.GET.get("as") == "pdf"
    try:
        if form.is_bound and form.is_valid():
            terms = form.terms()
        made = quote_of(job, terms, on=timezone.localdate())
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job", pk)
    if as_pdf and not form.errors:
        response = HttpResponse(quote_pdf(made), content_type="application/pdf")
        response["Content-Disposition"] = f'attachment; filename="quote-{job.pk}.pdf"'
        return response
    return render(
        request,
        "planning/quote.html",
        {"job": job, "form": form, "quote": made, "terms": terms},
        status=422 if form.errors else 200,
    )
