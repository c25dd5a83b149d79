//! A form: labels above fields, checked when sent; on a fault it comes back as it was filled in, each fault at its field.

use maud::{Markup, html};

use crate::asked::Fields;

/// How a field is filled in.
#[derive(Clone, Debug)]
pub(crate) enum Kind {
    /// A line.
    Line,
    /// A day, as 2027-03-31.
    Day,
    /// A secret.
    Passphrase,
    /// Several lines.
    Remark,
    /// One of these: value and words.
    OneOf(Vec<(String, String)>),
    /// Any of these: value and words.
    AnyOf(Vec<(String, String)>),
    /// Not shown.
    Hidden,
}

/// A field.
#[derive(Clone, Debug)]
pub(crate) struct Field {
    /// Its name in what is sent.
    pub(crate) name: &'static str,
    /// What stands above it.
    pub(crate) label: String,
    /// What is said below the label.
    pub(crate) hint: String,
    /// How it is filled in.
    pub(crate) kind: Kind,
    /// What stands in it, or what is ticked.
    pub(crate) value: Vec<String>,
    /// For `autocomplete`.
    pub(crate) fills: &'static str,
}

impl Field {
    fn new(name: &'static str, label: impl Into<String>, kind: Kind) -> Self {
        Self { name, label: label.into(), hint: String::new(), kind, value: Vec::new(), fills: "off" }
    }
    /// A line.
    pub(crate) fn line(name: &'static str, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Line)
    }
    /// A day.
    pub(crate) fn day(name: &'static str, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Day)
    }
    /// A passphrase.
    pub(crate) fn passphrase(name: &'static str, label: impl Into<String>) -> Self {
        Self { fills: "current-password", ..Self::new(name, label, Kind::Passphrase) }
    }
    /// A new passphrase.
    pub(crate) fn new_passphrase(name: &'static str, label: impl Into<String>) -> Self {
        Self { fills: "new-password", ..Self::new(name, label, Kind::Passphrase) }
    }
    /// Several lines.
    pub(crate) fn remark(name: &'static str, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Remark)
    }
    /// One of several.
    pub(crate) fn one_of(name: &'static str, label: impl Into<String>, choices: Vec<(String, String)>) -> Self {
        Self::new(name, label, Kind::OneOf(choices))
    }
    /// Any of several.
    pub(crate) fn any_of(name: &'static str, label: impl Into<String>, choices: Vec<(String, String)>) -> Self {
        Self::new(name, label, Kind::AnyOf(choices))
    }
    /// Sent without being shown.
    pub(crate) fn hidden(name: &'static str, value: impl Into<String>) -> Self {
        Self { value: vec![value.into()], ..Self::new(name, "", Kind::Hidden) }
    }
    /// What is said below the label.
    pub(crate) fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = hint.into();
        self
    }
    /// What stands in it.
    pub(crate) fn value(mut self, value: impl Into<String>) -> Self {
        self.value = vec![value.into()];
        self
    }
    /// What is ticked.
    pub(crate) fn ticked(mut self, values: impl IntoIterator<Item = String>) -> Self {
        self.value = values.into_iter().collect();
        self
    }
    /// What the browser may fill in.
    pub(crate) fn filled_by(mut self, fills: &'static str) -> Self {
        self.fills = fills;
        self
    }
}

/// A button: what it sends, and what stands on it.
#[derive(Clone, Debug)]
pub(crate) struct Button {
    name: &'static str,
    value: String,
    label: String,
    is_grave: bool,
}

/// A form.
#[derive(Clone, Debug)]
pub(crate) struct Form {
    /// Tells its fields from those of others on the page.
    pub(crate) id: String,
    action: String,
    legend: String,
    fields: Vec<Field>,
    buttons: Vec<Button>,
    is_get: bool,
}

/// Something that was filled in and needs another look.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Fault {
    /// The form and the field.
    pub(crate) at: String,
    /// What to write.
    pub(crate) says: String,
}

impl Fault {
    /// A fault of a field.
    pub(crate) fn at(form: &str, field: &str, says: impl Into<String>) -> Self {
        Self { at: format!("{form}-{field}"), says: says.into() }
    }
}

impl Form {
    /// A form that does something.
    pub(crate) fn act(id: impl Into<String>, action: impl Into<String>) -> Self {
        Self {
            id: id.into(),
            action: action.into(),
            legend: String::new(),
            fields: Vec::new(),
            buttons: Vec::new(),
            is_get: false,
        }
    }
    /// A form that looks for something and changes nothing.
    pub(crate) fn look(id: impl Into<String>, action: impl Into<String>) -> Self {
        Self { is_get: true, ..Self::act(id, action) }
    }
    /// What it is about.
    pub(crate) fn legend(mut self, legend: impl Into<String>) -> Self {
        self.legend = legend.into();
        self
    }
    /// Adds a field.
    pub(crate) fn field(mut self, field: Field) -> Self {
        self.fields.push(field);
        self
    }
    /// Adds a button.
    pub(crate) fn button(self, label: impl Into<String>) -> Self {
        self.choice("", "", label)
    }
    /// Adds a button that is pressed with care.
    pub(crate) fn grave(mut self, label: impl Into<String>) -> Self {
        self.buttons.push(Button { name: "", value: String::new(), label: label.into(), is_grave: true });
        self
    }
    /// Adds one of several buttons; what it sends tells them apart.
    pub(crate) fn choice(mut self, name: &'static str, value: impl Into<String>, label: impl Into<String>) -> Self {
        self.buttons.push(Button { name, value: value.into(), label: label.into(), is_grave: false });
        self
    }

    /// The same, with what was sent standing in it again; secrets are typed again.
    pub(crate) fn filled(mut self, sent: &Fields) -> Self {
        for field in &mut self.fields {
            match field.kind {
                Kind::Passphrase | Kind::Hidden => {}
                Kind::AnyOf(_) => field.value = sent.all(field.name).map(str::to_owned).collect(),
                _ => field.value = vec![sent.get(field.name).to_owned()],
            }
        }
        self
    }

    /// The form as HTML.
    ///
    /// # Arguments
    /// * `token`: what tells that it comes from a page of this sign-in.
    pub(crate) fn html(&self, token: &str, faults: &[Fault]) -> Markup {
        html! {
            form.act id=(self.id) action=(self.action) method=(if self.is_get { "get" } else { "post" }) {
                @if !self.is_get && !token.is_empty() { input type="hidden" name="form-token" value=(token); }
                @if self.legend.is_empty() { (self.inner(faults)) }
                @else { fieldset { legend { (self.legend) } (self.inner(faults)) } }
            }
        }
    }

    fn inner(&self, faults: &[Fault]) -> Markup {
        html! {
            @for field in &self.fields { (self.field_html(field, faults)) }
            @if !self.buttons.is_empty() {
                div.buttons {
                    @for button in &self.buttons {
                        @let named = (!button.name.is_empty()).then_some(button.name);
                        button type="submit" name=[named] value=[named.map(|_| button.value.as_str())] class=[button.is_grave.then_some("grave")] { (button.label) }
                    }
                }
            }
        }
    }

    fn field_html(&self, field: &Field, faults: &[Fault]) -> Markup {
        let id = format!("{}-{}", self.id, field.name);
        let fault = faults.iter().find(|fault| fault.at == id);
        let value = field.value.first().map_or("", String::as_str);
        let described: Vec<String> =
            [(!field.hint.is_empty()).then(|| format!("{id}-hint")), fault.map(|_| format!("{id}-fault"))]
                .into_iter()
                .flatten()
                .collect();
        let described = (!described.is_empty()).then(|| described.join(" "));
        let wrong = fault.map(|_| "true");
        let said = html! {
            @if !field.hint.is_empty() { p.hint id=(format!("{id}-hint")) { (field.hint) } }
            @if let Some(fault) = fault { p.fault id=(format!("{id}-fault")) { (fault.says) } }
        };
        match &field.kind {
            Kind::Hidden => html! { input type="hidden" name=(field.name) value=(value); },
            Kind::AnyOf(choices) => html! {
                fieldset.boxes id=(id) aria-describedby=[described] {
                    legend { (field.label) }
                    (said)
                    @for (place, (choice, words)) in choices.iter().enumerate() {
                        @let box_id = format!("{id}-{place}");
                        div.box {
                            input type="checkbox" id=(box_id) name=(field.name) value=(choice) checked[field.value.contains(choice)];
                            label for=(box_id) { (words) }
                        }
                    }
                }
            },
            Kind::OneOf(choices) => html! {
                div.field {
                    label for=(id) { (field.label) }
                    (said)
                    select id=(id) name=(field.name) aria-describedby=[described] aria-invalid=[wrong] {
                        @for (choice, words) in choices { option value=(choice) selected[choice == value] { (words) } }
                    }
                }
            },
            Kind::Remark => html! {
                div.field {
                    label for=(id) { (field.label) }
                    (said)
                    textarea id=(id) name=(field.name) rows="2" maxlength="2000" aria-describedby=[described] aria-invalid=[wrong] { (value) }
                }
            },
            Kind::Line | Kind::Day | Kind::Passphrase => html! {
                div.field {
                    label for=(id) { (field.label) }
                    (said)
                    @let secret = matches!(field.kind, Kind::Passphrase);
                    input type=(if secret { "password" } else { "text" }) id=(id) name=(field.name) value=(if secret { "" } else { value }) autocomplete=(field.fills) autocapitalize="none" spellcheck="false" aria-describedby=[described] aria-invalid=[wrong];
                }
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_filled_in_comes_back_and_secrets_do_not() {
        let form = Form::act("sign", "/sign")
            .field(Field::line("name", "Name"))
            .field(Field::passphrase("passphrase", "Passphrase"));
        let sent = Fields::read("name=%22%3Eodd&passphrase=catkins+before+leaves");
        let faults = [Fault::at("sign", "passphrase", "Enter the passphrase")];
        let html = form.filled(&sent).html("token", &faults).into_string();
        assert!(html.contains("value=\"&quot;&gt;odd\"") && !html.contains("catkins"), "{html}");
        assert!(html.contains("id=\"sign-passphrase-fault\">Enter the passphrase"));
        assert!(html.contains("aria-describedby=\"sign-passphrase-fault\" aria-invalid=\"true\""));
    }
}
