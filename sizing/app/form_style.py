"""How the forms look on a page of the lab, on a laptop and on a phone."""

#: Labels wrap instead of being cut, and stand above their field on a phone.
FORM_STYLE = """<style>
.sizing-form { --jp-widgets-inline-label-width: 13rem;
  --jp-widgets-inline-width: 25rem; max-width: 74rem; }
.sizing-form .widget-label { white-space: normal; overflow: visible; height: auto;
  line-height: 1.25; text-align: left; padding: .2rem 0; }
.sizing-form .widget-gridbox .widget-label { overflow: hidden; padding: 0;
  white-space: nowrap; }
.sizing-form .widget-inline-hbox { height: auto; max-width: calc(100% - 4px);
  align-items: center; }
.sizing-form .jupyter-button { white-space: normal; height: auto; min-height: 28px;
  line-height: 1.3; overflow: visible; }
.sizing-form .widget-checkbox .widget-label-basic { height: auto;
  white-space: normal; align-items: flex-start; }
.sizing-form .widget-toggle-buttons { width: auto; }
.sizing-form .widget-toggle-button { width: auto; padding: 0 .8rem; }
.sizing-form .widget-html-content { white-space: normal; overflow-wrap: anywhere;
  line-height: 1.45; }
.sizing-form .widget-html { height: auto; }
.sizing-form .widget-dropdown > select { height: 28px; align-self: center; }
.sizing-form figure { max-width: 44rem; }
.sizing-measures { position: relative; overflow: visible; min-height: 19rem; }
.sizing-measures .sizing-measure { position: static; overflow: visible; }
.sizing-where { display: none; position: absolute; left: 38rem; top: 0;
  width: 15rem; pointer-events: none; }
.sizing-measure:focus-within .sizing-where,
.sizing-measures:not(:focus-within) > .sizing-where { display: block; }
.sizing-form .sizing-where figure { margin: 0; }
.sizing-where img { max-height: 14rem !important; }
@media (max-width: 700px) {
  .sizing-measures .sizing-measure { position: relative; min-height: 9.5rem;
    align-content: start; }
  .sizing-measure .sizing-where { display: block; left: 14rem; top: auto; bottom: 0;
    width: 8.5rem; }
  .sizing-where img { max-height: 6rem !important; }
  .sizing-measures > .sizing-where, .sizing-measure figcaption { display: none
    !important; }
  .sizing-form { --jp-widgets-inline-label-width: auto; }
  .sizing-form .widget-inline-hbox { flex-wrap: wrap; }
  .sizing-form .widget-gridbox .widget-inline-hbox { flex-wrap: nowrap; }
}
</style>"""
